"""What the steps add up to: verdict, root cause and exit code of a run."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

from benchrig.errors import BenchrigError, Cause, InnerError, InternalError, NotSecured, WrongDevice
from benchrig.plan.tree import StepPlan
from benchrig.record.events import Fates, RunEnded, Verdict, Where
from benchrig.run.ending import Ended, verdict_of
from benchrig.run.leaving import Reason


class Exit(IntEnum):
    """What the process says to whoever started it."""

    PASS = 0
    UNIT_FAILED = 1
    INTERRUPTED = 2
    INTERNAL = 3
    PLAN = 4
    NOT_JUDGED = 5
    STATION = 7


_EXIT: dict[Cause, Exit] = {
    "internal": Exit.INTERNAL,
    "operator": Exit.INTERRUPTED,
    "plan": Exit.PLAN,
    "station": Exit.STATION,
}


def exit_of(cause: Cause) -> Exit:
    """The exit code of what ended for this cause."""
    return _EXIT.get(cause, Exit.UNIT_FAILED)


class End(NamedTuple):
    """How a step, or the run outside any step, ended when it did not pass."""

    where: Where | None
    verdict: Verdict
    cause: Cause
    message: str


@dataclass
class Outcome:
    """Collects the ends of the steps, and the fate of every planned limit. The first end in time that did not pass decides;
    limits that were not judged, and steps that were skipped for no failure, decide where nothing else did. What a limit
    of a step around it decides about is excused."""

    # limits of the plan as it is written: how many rounds there will be is not known
    least: int
    # those of the steps that began or were skipped
    planned: int = 0
    judged: int = 0
    interrupted: bool = False
    _left: int = 0
    _allowed: int = 0
    _first: End | None = None
    _first_open: End | None = None
    # the steps with an end of their own, and what would be the end of those that are excused
    _bad: set[Where | None] = field(default_factory=set)
    _excused: dict[Where, End] = field(default_factory=dict)

    def begins(self, plan: StepPlan) -> None:
        """Each of its limits has to end as judged or not judged now."""
        self.planned += len(plan.limit_names)

    def count(self, fates: Fates) -> None:
        """Limits that ended so."""
        self.judged += fates.passed + fates.failed
        self._left += fates.not_judged
        self._allowed += fates.allowed

    @property
    def decided(self) -> bool:
        """Whether an end decides that no later one can change."""
        return self._first is not None

    def step(self, where: Where, ended: Ended, *, excused: bool = False, inside: bool = False) -> None:
        """`excused`: a limit around it decides whether it may fail; `inside`: whether those in it may."""
        event = ended.event
        allowed = sum(each.allowed for each in ended.not_judged)
        self.count(Fates(passed=ended.judged, not_judged=len(ended.not_judged), allowed=allowed))
        if isinstance(ended.error, NotSecured) and event.root is not None:
            said = f"step {where.label} was skipped: {event.message}"
            self._left_for(event.root, End(where, "error", "plan", said), excused=excused)
        if event.cause is None:
            return
        self.interrupted = self.interrupted or event.cause == "operator"
        end = End(where, event.verdict, event.cause, event.message)
        if excused and event.verdict == "fail":
            self._excused[where] = end
        elif isinstance(ended.error, InnerError) and not (inside and event.verdict == "fail"):
            self._bad.add(where)  # that of the step in it is the end
        elif ended.only_left:
            self._open(end)
        else:
            self._end(end)

    def _end(self, end: End) -> None:
        self._first = self._first or end
        self._bad.add(end.where)

    def _open(self, end: End) -> None:
        self._first_open = self._first_open or end

    def skipped(self, plan: StepPlan, where: Where, why: Reason, *, excused: bool = False) -> None:
        """A skipped step blames another one, which has its own end; where it has none, the skip itself is an end, unless a
        condition of the plan left it out. A failure is excused where a limit decides about it: what is left out for it
        elsewhere nobody has counted."""
        self._left += len(plan.limit_names)
        if why.allowed:
            self._allowed += len(plan.limit_names)
        else:
            said = f"{plan.name} was skipped: {why.message}"
            self._left_for(why.root, End(where, "error", "plan", said), excused=excused)

    def _left_for(self, root: Where | None, end: End, *, excused: bool) -> None:
        if root is not None and root in self._excused:
            if not excused:
                self._end(self._excused[root])
        elif root not in self._bad:
            self._open(end)

    def forget(self, but: AbstractSet[Where]) -> None:
        """The ends that no step can be left out for any more; what decides the run stays."""
        self._bad &= but | {None}
        self._excused = {where: end for where, end in self._excused.items() if where in but}

    def fatal(self, error: BenchrigError, where: Where | None = None) -> None:
        """The run ended for a reason outside any step."""
        self._end(End(where, verdict_of(error), error.cause, error.message))
        self.interrupted = self.interrupted or error.cause == "operator"

    def broken(self, error: InternalError) -> None:
        """What was judged was judged with a broken instrument: that comes before all else."""
        self._first = End(None, "error", error.cause, error.message)

    def of_another(self, error: WrongDevice) -> None:
        """What was judged, passed or failed, was judged of another unit: that comes before all else but a bug."""
        if self._first is None or self._first.cause != "internal":
            self._first = End(None, verdict_of(error), error.cause, error.message)

    def ended(self, at: float) -> RunEnded:
        planned = max(self.planned, self.least)
        if self.judged + self._left != planned:
            lost = planned - self.judged - self._left
            self.broken(InternalError(f"{lost} of {planned} planned limits are not accounted for"))
        verdict, code, cause, root, message = self._verdict()
        return RunEnded(
            at,
            verdict,
            int(code),
            self.judged,
            cause,
            root,
            message,
            planned=self.planned,
            not_judged=self._left,
            allowed=self._allowed,
        )

    def _verdict(self) -> tuple[Verdict, Exit, Cause | None, Where | None, str]:
        if (end := self._first) is not None:
            return end.verdict, exit_of(end.cause), end.cause, end.where, end.message
        if (end := self._first_open) is not None:
            return end.verdict, Exit.NOT_JUDGED, end.cause, end.where, end.message
        if not self.judged:
            return "error", Exit.NOT_JUDGED, "plan", None, "no limit was judged, so nothing was proved"
        return "pass", Exit.PASS, None, None, ""
