"""The way through the plan once more: what is left out now, what the run has not taken, what the whole comes to."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from benchrig.plan.conditions import Decided, Unsatisfied, decide
from benchrig.plan.in_worlds import without
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.record.events import Closed, Fates, NotJudged, Where
from benchrig.record.model import Execution
from benchrig.rejudge.limits import Held
from benchrig.rejudge.matching import LOOKING, Matched
from benchrig.rejudge.sameness import Sameness
from benchrig.run.ending import Ended
from benchrig.run.leaving import ENDED, Reason, skipped, with_inner
from benchrig.run.order import Order
from benchrig.run.outcome import Outcome
from benchrig.source.references import references

# Keys of a step that say nothing of what it does itself.
_OF_OTHERS = frozenset({"expect", "steps", "first", "finally"})
_OTHER_STATE = "the run has carried it out and by the plan it is left out, or not tried again: what comes after it was taken in another state"

_OTHER_ORDER = "by the plan the steps before it that change the unit are other ones, or in another order"


class Unknown(NamedTuple):
    """What nobody can say: of a step, or of one of its readings."""

    where: Where
    step: str
    reading: str
    why: str


@dataclass
class Done:
    """One execution judged again. `event` is None where nobody can say how it would have ended."""

    plan: StepPlan
    where: Where
    recorded: Execution | None
    event: Closed | None
    held: Sequence[Held] = ()
    not_judged: Sequence[NotJudged] = ()

    @property
    def is_as_recorded(self) -> bool:
        before = self.recorded.ended if self.recorded else None
        return before is not None and self.event is not None and before.counts_as == self.event.counts_as


class Begun(NamedTuple):
    """An execution that is on record, about to be judged again: without the limits that conditions leave out, and whether a
    limit of a step around it decides about its failure."""

    plan: StepPlan
    where: Where
    recorded: Execution
    left_out: Mapping[str, str]
    tolerated: bool

    @property
    def without(self) -> StepPlan:
        return without(self.plan, self.left_out) if self.left_out else self.plan


@dataclass
class Again:
    """The way of one record through a plan. `execute` judges one step again."""

    plan: Plan
    matched: Matched
    same: Sameness
    execute: Callable[[Again, Begun], Closed | None]
    # what references stand for, as far as the record has it
    values: dict[str, Any]
    outcome: Outcome
    done: dict[Where, Done] = field(default_factory=dict)
    unknown: list[Unknown] = field(default_factory=list)
    stop: Where | None = None
    order: Order = field(default_factory=Order)
    # values of steps that are left out now, or were not taken
    lost: set[str] = field(default_factory=set)
    # from where on the unit may have been in another state than by this plan: whether the end was decided before
    decided_before: bool | None = None

    @property
    def is_decided(self) -> bool:
        """Whether it fails for sure."""
        return self.outcome.decided if self.decided_before is None else self.decided_before

    def through(self) -> None:
        self.order = Order.of(self.matched.nodes)
        for node in self.matched.nodes:
            self.carry_out(node, Where(node.id), tolerated=False)

    def carry_out(self, plan: StepPlan, where: Where, *, tolerated: bool) -> Closed | None:
        """One step with all that is in it: its end; None where nobody can say it."""
        if plan.id == self.matched.moved and self.decided_before is None and not self.is_decided:
            self.unknown.append(Unknown(where, plan.called, "", _OTHER_ORDER))
            self.decided_before = False
        recorded, decided = self.matched.execution(where), decide(plan, self.values, self.plan.kinds)
        why = self._why_not(plan, where, decided, recorded)
        if isinstance(why, Reason):
            return self.leave_out(plan, where, why, tolerated=tolerated)
        if isinstance(why, str):
            self.not_taken(plan, where, why)
            return None
        assert recorded is not None
        self.outcome.begins(plan)
        for name in plan.saves:
            self.values.pop(name, None)
        return self.execute(self, Begun(plan, where, recorded, decided.left_out, tolerated))

    # --- what is left out

    def _why_not(
        self, plan: StepPlan, where: Where, decided: Decided, recorded: Execution | None
    ) -> Reason | str | None:
        """A reason where the step is left out, a sentence where the run has not taken it."""
        if recorded is None:
            return "the record has no such step"
        if (name := self._lost_of(plan)) is not None:
            return f"it needs the value '{name}', which the run has not saved in this way"
        if recorded.opened is None and recorded.ended is not None:
            return self._skipped_before(plan, decided, recorded.ended)
        if isinstance(decided.step, Unsatisfied):
            return Reason(None, decided.step.sentence, allowed=True)
        if self.stop is not None and plan.section != "finally":
            return Reason(self.stop, f"step {self.stop.label} ended the run")
        if (why := self.order.why_not(plan)) is not None:
            return why
        if (key := self.matched.other.get(plan.id)) is not None:
            return f"the plan lets it do something else: its {key} is another one"
        return None if recorded.ended is not None else "the run was cut off before its end"

    def _lost_of(self, plan: StepPlan) -> str | None:
        """A value that what it does depends on, and of which nobody can say what it is by this plan."""
        lost = self.lost - self.values.keys()
        return min(lost & _needed(plan), default=None) if lost and not self.same.all else None

    def _skipped_before(self, plan: StepPlan, decided: Decided, event: Closed) -> Reason | str:
        """The run left it out: so it stays, unless what it was left out for is no longer so."""
        root = None if event.root is None else self.matched.where(event.root)
        if event.root is not None and root is None:
            return f"it was left out for step {event.root.label}, which the plan does not have"
        if event.allowed and plan.conditions and decided.step is None and self.order.why_not(plan) is None:
            return "its condition holds now, and the run has left it out"
        if root is not None and (done := self.done.get(root)) is not None:
            before = done.recorded.ended.verdict if done.recorded and done.recorded.ended else "skip"
            if done.event is None:
                return f"it was left out for step {root.label}, of which nobody can say how it ends"
            if done.event.verdict == "pass" and before != "pass":
                return f"it was left out since step {root.label} {ENDED[before]}, which passes now"
        return Reason(root, event.message, event.allowed)

    def leave_out(self, plan: StepPlan, where: Where, why: Reason, *, tolerated: bool) -> Closed:
        """It and all that is in it; the end of it."""
        if self._was_carried_out(where):
            self.leaves_another_state(plan, where)
        for each, place in with_inner(plan, where):
            recorded = self.matched.execution(place)
            at = recorded.ended.at if recorded and recorded.ended else 0.0
            self._lose(each, known=not self._was_carried_out(place))
            self.outcome.begins(each)
            self.outcome.skipped(each, place, why, excused=tolerated)
            closed, *unjudged = skipped(each, place, why, at)
            assert isinstance(closed, Closed)
            left = [event for event in unjudged if isinstance(event, NotJudged)]
            self._note(Done(each, place, recorded, closed, not_judged=left))
        return self._end_of(where)

    def leaves_another_state(self, plan: StepPlan, where: Where) -> None:
        """The run has done something that by this plan would not have been done."""
        if not self.is_decided and _acts(plan):
            self.unknown.append(Unknown(where, plan.called, "", _OTHER_STATE))
            self.drifts(plan)

    def _end_of(self, where: Where) -> Closed:
        event = self.done[where].event
        assert event is not None
        return event

    def not_taken(self, plan: StepPlan, where: Where, why: str) -> None:
        """What it would have shown is not on record."""
        self.unknown.append(Unknown(where, plan.called, "", why))
        self.drifts(plan)
        for each, place in with_inner(plan, where):
            self._lose(each)
            self.outcome.begins(each)
            self.outcome.count(Fates(not_judged=len(each.limit_names)))
            self.done[place] = Done(each, place, self.matched.execution(place), None)

    def _lose(self, plan: StepPlan, *, known: bool = False) -> None:
        """`known`: the run has not saved them either."""
        self.lost |= set() if known else {*plan.saves}
        for name in plan.saves:
            self.values.pop(name, None)

    def _was_carried_out(self, where: Where) -> bool:
        recorded = self.matched.execution(where)
        return recorded is not None and recorded.opened is not None

    def drifts(self, plan: StepPlan) -> None:
        """Nobody can say how this step ends: what fails after it may not fail by this plan, unless it only looks."""
        if _acts(plan):
            self.decided_before = self.is_decided

    # --- what has ended

    def ended(self, done: Done, ended: Ended | None, open_limits: int, *, tolerated: bool) -> Closed | None:
        """Remember how an execution ended; `open_limits` are those of which nobody can say whether they hold."""
        plan = done.plan
        self.outcome.count(Fates(not_judged=open_limits))
        if ended is None:
            left = [each for each in done.held if each.after is not None]
            self.outcome.count(Fates(passed=len(left), not_judged=len(done.not_judged)))
            self.done[done.where] = done
            return None
        over = ended.ends_run(plan.on_fail)
        if over and plan.section == "steps":
            self.stop = self.stop or done.where
        self.outcome.step(done.where, ended, excused=tolerated and not over, inside=tolerated or plan.tolerates)
        self._note(done)
        return ended.event

    def _note(self, done: Done) -> None:
        self.done[done.where] = done
        if done.event is not None:
            self.order.note(done.plan, done.event)

    def not_known(self, why: str) -> None:
        """How the run would have ended."""
        self.unknown += [Unknown(last.where, last.plan.called, "", why) for last in [*self.done.values()][-1:]]

    def is_over(self, plan: StepPlan) -> bool:
        return self.stop is not None and plan.section != "finally"


def _acts(plan: StepPlan) -> bool:
    """Whether it may leave the unit in another state."""
    return any(not each.children and each.kind.verb not in LOOKING for each in every_step([plan]))


def _needed(plan: StepPlan) -> set[str]:
    """The values that decide what a step does; those in its limits decide no more than these."""
    parts = [part for key, (_, part) in plan.node.entries.items() if key not in _OF_OTHERS]
    return ({name for part in parts for name, _ in references(part)} | plan.decided_by) - plan.late
