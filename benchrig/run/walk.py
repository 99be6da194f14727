"""The way of a run through the tree of its plan: order, rounds, what is left out and why, what the whole comes to."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from benchrig.errors import NotSecured, OperatorError, StepFailed
from benchrig.plan.conditions import Decided, Decision, Missing, Unfit, Unsatisfied, decide
from benchrig.plan.flow import Losses
from benchrig.plan.in_worlds import without
from benchrig.plan.tree import StepPlan
from benchrig.radio.device import DeviceSession
from benchrig.record.events import Closed, Noted, Where
from benchrig.run.context import Surroundings
from benchrig.run.control import FINALLY_WITHIN, Control
from benchrig.run.ending import Ended
from benchrig.run.execution import PlanTime, StepExecution
from benchrig.run.inside import Around, Inside
from benchrig.run.leaving import Reason, skipped, with_inner
from benchrig.run.order import Order
from benchrig.run.outcome import Outcome
from benchrig.run.unsecured import Unsecured
from benchrig.steps.base import Cap

# What a run waits for before a step, and (None) after the last one: whoever takes it from step to step.
Pace = Callable[[StepPlan | None], Awaitable[None]]


@dataclass
class Walk:
    """Through the nodes of one run, on its devices, by name."""

    run: Surroundings
    devices: Mapping[str, DeviceSession]
    control: Control
    outcome: Outcome
    plan_time: PlanTime | None
    may_lack: AbstractSet[str]
    pace: Pace | None = None
    _losses: Losses = field(default_factory=Losses)
    _order: Order = field(default_factory=Order)
    _unsecured: Unsecured = field(default_factory=Unsecured)
    _current: Where | None = None
    # the devices whose link is known to be lost
    _lost: frozenset[str] = frozenset()
    # by device, the step that should have ended its link, and was left out
    _not_ended: dict[str, Where] = field(default_factory=dict)

    async def through(self, nodes: Sequence[StepPlan]) -> None:
        around = Around(self.run)
        self._order = Order.of(nodes)
        for node in nodes:
            await self._paced(node)
            if node.section == "finally":
                self.control.clean_up()
            await self.carry_out(node, Where(node.id), around)
        await self._paced(None)
        if self.control.interrupts and not self.outcome.interrupted:
            self.outcome.fatal(OperatorError("interrupted"), self._current)

    async def _paced(self, node: StepPlan | None) -> None:
        """What is waited for between steps is no time of theirs."""
        if self.pace is None:
            return
        began = self.run.clock.now()
        await self.pace(node)
        if self.plan_time is not None:
            self.plan_time = self.plan_time.later(self.run.clock.now() - began)

    async def carry_out(self, plan: StepPlan, where: Where, around: Around) -> Closed:
        """One step, with all that is in it."""
        self._current = where
        decided = decide(plan, self.run.values, self.run.kinds)
        if (why := self._why_skipped(plan, decided)) is not None:
            return self.leave_out(plan, where, why, around)
        await self._end_what_was_left(plan)
        self.outcome.begins(plan)
        for watch in around.watches:
            watch.begins(plan.name)
        began = self.run.clock.now()
        ended = await self._execution(plan, where, around, decided).carry_out()
        self.run.before.began = began
        fatal = self._remember(plan, where, ended, lets_go=around.lets_go == plan.id and ended.error is None)
        self._tell_losses(plan)
        excused = around.tolerated and not fatal
        self.outcome.step(where, ended, excused=excused, inside=around.tolerated or plan.tolerates)
        self.told(where, ended)
        self._order.note(plan, ended.event)
        self._unsecured.note(plan, ended.event)
        if ended.event.root is not None:
            self.run.kept_from_giving(plan, where, ended.event.root)
        for watch in around.watches:
            watch.ended(plan.name, ended.event.verdict)
        return ended.event

    def told(self, where: Where, ended: Ended) -> None:
        """How a step ended: for who goes on by himself."""

    async def _end_what_was_left(self, plan: StepPlan) -> None:
        """A step that connects finds no link, also where the step that was to end the last one was left out."""
        connects = Cap.LINK in plan.gives - plan.needs and plan.section == "steps"  # finally takes a link that is there
        root = self._not_ended.get(plan.device) if connects else None
        if root is not None and self.devices[plan.device].is_up:
            said = f"ended the link, since step {root.label} was left out"
            self.run.emit(Noted(self.run.clock.at, said, device=plan.device))
            await self.devices[plan.device].close()

    def _execution(self, plan: StepPlan, where: Where, around: Around, decided: Decided) -> StepExecution:
        left_out = decided.left_out
        plan = without(plan, left_out) if left_out else plan
        # the unit gave a word where a condition is about a number: it is to blame that nobody knows what to do
        unable = StepFailed(decided.undecided.sentence) if decided.undecided else None
        inside = self.inside(plan, where, around) if plan.parts else None
        return StepExecution(
            around.run,
            self.devices[plan.device],
            self.control,
            plan,
            where,
            self._time(),
            self.may_lack,
            around.watches,
            inside,
            around.lets_go == plan.id,
            left_out,
            unable,
            around.holds_link,
            lambda error: self._unsecured.explained(plan.device, error),
            around.bound,
        )

    def inside(self, plan: StepPlan, where: Where, around: Around) -> Inside:
        """What is in a step."""
        return Inside(plan, where, around, self)

    def is_over(self, plan: StepPlan) -> bool:
        """Whether nothing more may begin in this step."""
        return self.control.is_stopped or (self._losses.stop is not None and plan.section != "finally")

    def next_round(self) -> None:
        """What failed in rounds before, and made nothing impossible, need not be known any more."""
        self.outcome.forget(self._losses.roots | self._order.roots | self._unsecured.roots | self._owing)

    @property
    def _owing(self) -> set[Where]:
        return {owing.root for owing in self.run.owed.values()}

    def _time(self) -> PlanTime | None:
        """What bounds the next step beside its own time."""
        if not self.control.cleaning:
            return self.plan_time
        return PlanTime(FINALLY_WITHIN, self.control.clean_by) if self.control.clean_by is not None else None

    # --- what is left out

    def _why_skipped(self, plan: StepPlan, decided: Decided) -> Reason | None:
        """None when the step can run."""
        if self.control.is_stopped:
            return Reason(self._losses.stop, "the run was interrupted")
        if (left_out := self._left_out_by_plan(decided.step)) is not None:
            return left_out
        if (lacking := self._losses.why_not(plan, lambda: self._at_hand(plan))) is not None:
            return Reason(*lacking)
        if Cap.UNIT in plan.needs and self.control.interrupts and not self.devices[plan.device].is_known:
            return Reason(self._losses.stop, "the run was interrupted before the unit was found")
        return self._order.why_not(plan) or self._without_value(plan)

    def _left_out_by_plan(self, why: Decision) -> Reason | None:
        """What conditions leave out, and what they cannot be judged by."""
        if isinstance(why, Unfit):
            return Reason(None, f"its condition cannot be judged: {why.sentence}")
        if isinstance(why, Missing) and why.name not in self.run.owed:
            return Reason(None, f"nothing gave '{why.name}' a value, which its condition is about")
        return Reason(None, why.sentence, allowed=True) if isinstance(why, Unsatisfied) else None

    def _without_value(self, plan: StepPlan) -> Reason | None:
        for name in sorted(plan.uses - self.run.values.keys()) if plan.uses else ():
            if (owing := self.run.owed.get(name)) is not None:
                return Reason(owing.root, f"step {owing.giver.label} gave no '{name}'")
        return None

    def leave_out(self, plan: StepPlan, where: Where, why: Reason, around: Around) -> Closed:
        """It and all that is in it; the end of it."""
        ends = [self._leave_out(each, place, why, around) for each, place in with_inner(plan, where)]
        return ends[0]

    def _leave_out(self, plan: StepPlan, where: Where, why: Reason, around: Around) -> Closed:
        if why.allowed:
            self.run.left_out(plan, where)
            self._losses.left_out(plan, where, self._at_hand(plan))
        else:
            self.run.forget(plan, where, why.root)
            if Cap.LINK in plan.ends:
                self._not_ended[plan.device] = where
        self.outcome.begins(plan)
        self.outcome.skipped(plan, where, why, excused=around.tolerated)
        closed, *unjudged = skipped(plan, where, why, self.run.clock.at)
        assert isinstance(closed, Closed)
        for event in (closed, *unjudged):
            around.run.emit(event)
        self._order.note(plan, closed)
        self._unsecured.note(plan, closed)
        for watch in around.watches:
            if why.allowed:
                watch.left_out(plan.name, why.message)
            watch.ended(plan.name, "skip")
        return closed

    # --- what is remembered

    def _at_hand(self, plan: StepPlan) -> set[Cap]:
        """What a step finds there. Without a scan the unit counts as there: whoever needs it listens for it."""
        device = self.devices[plan.device]
        there = {
            Cap.UNIT: self._losses.found(plan.device),
            Cap.LINK: device.is_up,
            Cap.BOND: device.bonded_as is not None,
        }
        return {cap for cap, is_there in there.items() if is_there}

    def _tell_losses(self, plan: StepPlan) -> None:
        """A link of another device that was lost meanwhile fails the next step that needs it, if any."""
        for key, device in self.devices.items() if len(self.devices) > 1 else ():
            lost = device.last is not None and not device.is_up
            if lost and key not in self._lost and key != plan.device:
                self.run.emit(
                    Noted(self.run.clock.at, f"the link of {key} was lost ({device.lost_reason})", device=key)
                )
            self._lost = self._lost | {key} if lost else self._lost - {key}

    def _remember(self, plan: StepPlan, where: Where, ended: Ended, *, lets_go: bool) -> bool:
        """What the later steps can no longer count on, and since which step; whether it ends the run. A step that `lets_go`
        leaves the link to the one around it."""
        error = ended.error
        if not lets_go:
            ended_here = self.devices[plan.device].was_ended
            root = error.root if isinstance(error, NotSecured) else where
            self._losses.remember(plan, root, error, self._at_hand(plan), ended=ended_here)
        fatal = ended.ends_run(plan.on_fail)
        if fatal and plan.section == "steps":
            self._losses.stop = self._losses.stop or where
        return fatal
