"""The way of a run through the tree of its plan: order, rounds, what is left out and why, what the whole comes to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field

from benchrig.errors import OperatorError
from benchrig.plan.flow import Losses
from benchrig.plan.tree import Block, Node, StepPlan
from benchrig.radio.device import DeviceSession
from benchrig.record.model import Closed, NotJudged, Opened, Verdict, Where, worst
from benchrig.run.context import Surroundings
from benchrig.run.control import FINALLY_WITHIN, Control
from benchrig.run.execution import Ended, PlanTime, StepExecution
from benchrig.run.outcome import Outcome
from benchrig.steps.base import Cap


@dataclass
class Walk:
    """Through the nodes of one run, on one device."""

    run: Surroundings
    device: DeviceSession
    control: Control
    outcome: Outcome
    plan_time: PlanTime | None
    may_lack: AbstractSet[str]
    _losses: Losses = field(default_factory=Losses)
    _current: Where | None = None

    async def through(self, nodes: Sequence[Node]) -> None:
        for node in nodes:
            if node.section == "finally":
                self.control.clean_up()
            await self._node(node, Where(node.id))
        if self.control.interrupts and not self.outcome.interrupted:
            self.outcome.fatal(OperatorError("interrupted"), self._current)

    async def _node(self, node: Node, where: Where) -> Verdict:
        return await (self._block(node, where) if isinstance(node, Block) else self._step(node, where))

    async def _block(self, block: Block, where: Where) -> Verdict:
        """It comes to the worst of what is in it, and the first one that came to that has decided."""
        clock, started = self.run.clock, self.run.clock.now()
        self.run.emit(Opened(where, clock.at))
        verdict, root = worst([]), None
        for rounds in block.each_round(where.rounds):
            for child in block.children:
                inner = Where(child.id, rounds)
                if (end := worst([verdict, await self._node(child, inner)])) != verdict:
                    verdict, root = end, inner
        self.run.emit(Closed(where, clock.at, clock.since(started), verdict, root=root))
        return verdict

    async def _step(self, plan: StepPlan, where: Where) -> Verdict:
        self._current = where
        if (why := self._why_skipped(plan)) is not None:
            self.run.forget(plan, where)
            self._skip(plan, where, *why)
            return "skip"
        execution = StepExecution(self.run, self.device, self.control, plan, where, self._time(), self.may_lack)
        ended = await execution.carry_out()
        self.outcome.step(where, ended)
        self._remember(plan, where, ended)
        return ended.event.verdict

    def _time(self) -> PlanTime | None:
        """What bounds the next step beside its own time."""
        if not self.control.cleaning:
            return self.plan_time
        return PlanTime(FINALLY_WITHIN, self.control.clean_by) if self.control.clean_by is not None else None

    # --- what is left out

    def _why_skipped(self, plan: StepPlan) -> tuple[Where | None, str] | None:
        """The root step and the sentence when the step cannot run; None when it can."""
        if self.control.is_stopped:
            return self._losses.stop, "the run was interrupted"
        if (lacking := self._losses.why_not(plan, self._at_hand)) is not None:
            return lacking
        if Cap.UNIT in plan.needs and self.control.interrupts and not self.device.is_known:
            return self._losses.stop, "the run was interrupted before the unit was found"
        for name in sorted(plan.uses - self.run.values.keys()) if plan.uses else ():
            if (root := self.run.owed.get(name)) is not None:
                return root, f"step {root.label} gave no '{name}'"
        return None

    def _skip(self, plan: StepPlan, where: Where, root: Where | None, message: str) -> None:
        for event in skipped(plan, where, root, message, self.run.clock.at):
            self.run.emit(event)
        self.outcome.skipped(plan, where, root, message)

    # --- what is remembered

    def _at_hand(self) -> set[Cap]:
        """What a step finds there. Without a scan the unit counts as there: whoever needs it listens for it."""
        unit = {Cap.UNIT} if self._losses.found else set()
        return unit | {Cap.LINK} if self.device.is_up else unit

    def _remember(self, plan: StepPlan, where: Where, ended: Ended) -> None:
        """What the later steps can no longer count on, and since which step."""
        verdict, error = ended.event.verdict, ended.error
        self._losses.remember(plan, where, error, self._at_hand(), ended=self.device.was_ended)
        over = verdict == "error" and error is not None  # one limit that was not judged ends nothing
        fatal = over or ended.out_of_time or (verdict == "fail" and plan.on_fail == "stop")
        if fatal and plan.section == "steps":
            self._losses.stop = self._losses.stop or where


def skipped(plan: StepPlan, where: Where, root: Where | None, message: str, at: float) -> Iterator[Closed | NotJudged]:
    """The events of a step that is left out."""
    yield Closed(where, at, 0.0, "skip", message=message, root=root)
    for name in plan.limit_names:
        yield NotJudged(where, at, name, message)
