"""What the steps add up to: verdict, root cause and exit code of a run."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

from benchrig.errors import BenchrigError, Cause
from benchrig.plan.model import StepPlan
from benchrig.record.model import Reading, RunEnded, Verdict


class Exit(IntEnum):
    """What the process says to whoever started it."""

    PASS = 0
    UNIT_FAILED = 1
    INTERRUPTED = 2
    INTERNAL = 3
    PLAN = 4
    NOTHING_JUDGED = 5
    STATION = 7


_EXIT: dict[Cause, Exit] = {
    "internal": Exit.INTERNAL,
    "operator": Exit.INTERRUPTED,
    "plan": Exit.PLAN,
    "station": Exit.STATION,
}


@dataclass
class Outcome:
    """Collects the ends of the steps."""

    judged: int = 0
    interrupted: bool = False
    _ends: list[tuple[int, Verdict, Cause, str]] = field(default_factory=list)

    def step(
        self, plan: StepPlan, verdict: Verdict, cause: Cause | None, message: str, readings: list[Reading]
    ) -> None:
        self.judged += sum(reading.judgement is not None for reading in readings)
        if cause is not None:
            self._ends.append((plan.number, verdict, cause, message))
            self.interrupted = self.interrupted or cause == "operator"

    def skipped(self, plan: StepPlan) -> None:
        """A skipped step blames another one, which has its own end."""

    def fatal(self, error: BenchrigError, number: int) -> None:
        """The run ended for a reason outside any step."""
        verdict: Verdict = "fail" if error.cause in ("limit", "device", "link") else "error"
        self._ends.append((number, verdict, error.cause, error.message))
        self.interrupted = self.interrupted or error.cause == "operator"

    def ended(self, at: float) -> RunEnded:
        decisive = self._decisive()
        if decisive is None:
            code = Exit.PASS if self.judged else Exit.NOTHING_JUDGED
            message = "" if self.judged else "no limit was judged, so nothing was proved"
            return RunEnded(at, "pass", int(code), self.judged, message=message)
        number, verdict, cause, message = decisive
        code = _EXIT.get(cause, Exit.UNIT_FAILED)
        return RunEnded(at, verdict, int(code), self.judged, cause, number or None, message)

    def _decisive(self) -> tuple[int, Verdict, Cause, str] | None:
        """The end that decides: a bug or an interruption first, then the unit's own failure.

        A lost link proves nothing against the unit when the station broke down as well.
        """
        station = [end for end in self._ends if end[2] == "station"]
        for causes in (
            ("internal",),
            ("operator",),
            ("limit", "device"),
            () if station else ("link",),
            ("plan", "station"),
        ):
            for end in self._ends:
                if end[2] in causes:
                    return end
        return None
