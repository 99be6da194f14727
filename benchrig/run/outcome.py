"""What the steps add up to: verdict, root cause and exit code of a run."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from typing import TYPE_CHECKING, NamedTuple

from benchrig.errors import BenchrigError, Cause, InternalError
from benchrig.plan.tree import StepPlan
from benchrig.record.model import RunEnded, Verdict, Where
from benchrig.run.ending import verdict_of

if TYPE_CHECKING:
    from benchrig.run.execution import Ended


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


class End(NamedTuple):
    """How a step, or the run outside any step, ended when it did not pass."""

    where: Where | None
    verdict: Verdict
    cause: Cause
    message: str


@dataclass
class Outcome:
    """Collects the ends of the steps, and the fate of every planned limit. The first end in time that did not pass decides;
    limits that were not judged, and steps that were skipped for no failure, decide where nothing else did."""

    planned: int
    judged: int = 0
    interrupted: bool = False
    _left: int = 0
    _allowed: int = 0
    _ends: list[End] = field(default_factory=list)
    _open: list[End] = field(default_factory=list)

    def step(self, where: Where, ended: Ended) -> None:
        event = ended.event
        self.judged += ended.judged
        self._left += len(ended.not_judged)
        self._allowed += sum(each.allowed for each in ended.not_judged)
        if event.cause is not None:
            ends = self._open if ended.only_left else self._ends
            ends.append(End(where, event.verdict, event.cause, event.message))
            self.interrupted = self.interrupted or event.cause == "operator"

    def skipped(self, plan: StepPlan, where: Where, root: Where | None, message: str) -> None:
        """A skipped step blames another one, which has its own end; where it has none, the skip itself is one."""
        self._left += len(plan.limit_names)
        if root not in {end.where for end in self._ends}:
            self._open.append(End(where, "error", "plan", f"{plan.name} was skipped: {message}"))

    def fatal(self, error: BenchrigError, where: Where | None = None) -> None:
        """The run ended for a reason outside any step."""
        self._ends.append(End(where, verdict_of(error), error.cause, error.message))
        self.interrupted = self.interrupted or error.cause == "operator"

    def broken(self, error: InternalError) -> None:
        """What was judged was judged with a broken instrument: that comes before all else."""
        self._ends.insert(0, End(None, "error", error.cause, error.message))

    def ended(self, at: float) -> RunEnded:
        if self.judged + self._left != self.planned:
            lost = self.planned - self.judged - self._left
            self.broken(InternalError(f"{lost} of {self.planned} planned limits are not accounted for"))
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
        if self._ends:
            end = self._ends[0]
            return end.verdict, _EXIT.get(end.cause, Exit.UNIT_FAILED), end.cause, end.where, end.message
        if self._open:
            end = self._open[0]
            return end.verdict, Exit.NOT_JUDGED, end.cause, end.where, end.message
        if not self.judged:
            return "error", Exit.NOT_JUDGED, "plan", None, "no limit was judged, so nothing was proved"
        return "pass", Exit.PASS, None, None, ""
