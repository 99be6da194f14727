"""How a step or a radio ended, in terms of the record: verdict, cause, sentence, traceback."""

from __future__ import annotations

import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from benchrig.errors import OF_THE_UNIT, BenchrigError, Cause, InnerError, InternalError, LeftOut
from benchrig.radio.radio import Radio
from benchrig.record.events import Closed, NotJudged, Verdict, Where

LEAVE_OUT = "leave the limit out for this radio, or say that the run may pass without it: --may-lack STEP.READING"


@dataclass(frozen=True)
class Ended:
    """How an execution ended: its last event, the error behind it, what became of its limits."""

    event: Closed
    error: BenchrigError | None
    judged: int
    not_judged: list[NotJudged]
    # nothing is wrong but that limits were not judged
    only_left: bool
    # the plan's time ran out in it
    out_of_time: bool

    def ends_run(self, on_fail: str) -> bool:
        """Whether no step may come after it; `on_fail` is what its step says of that."""
        # one limit that was not judged ends nothing; what is in a composite step was remembered itself
        over = self.event.verdict == "error" and self.error is not None and not isinstance(self.error, InnerError)
        return over or self.out_of_time or (self.event.verdict == "fail" and on_fail == "stop")


class Conclusion(NamedTuple):
    """What an execution comes to; `own` is the part of the message that no judgement says, None for all of it."""

    verdict: Verdict
    cause: Cause | None
    message: str
    own: str | None
    advice: str


def concluded(error: BenchrigError | None, broken: list[str], unjudged: Sequence[NotJudged]) -> Conclusion:
    """From the error behind it, what its broken limits say and the limits that were not judged."""
    left = [f"{each.name} is not judged: {each.reason}" for each in unjudged if not each.allowed]
    verdict, cause, message = step_verdict(error, broken, left)
    own = error.message if error is not None else "" if broken else message
    advice = error.advice if error else LEAVE_OUT if left and not broken else ""
    return Conclusion(verdict, cause, message, None if own == message else own, advice)


def closing(
    where: Where, at: float, elapsed: float, attempts: int, error: BenchrigError | None, came: Conclusion
) -> Closed:
    """The last event of an execution."""
    return Closed(
        where,
        at,
        elapsed,
        came.verdict,
        came.cause,
        came.message,
        advice=came.advice,
        attempts=attempts,
        root=error.root if isinstance(error, InnerError) else None,
        allowed=isinstance(error, LeftOut),
        traceback=traceback_of(error),
        own=came.own,
        tells=error.tells if error else "",
    )


def verdict_of(error: BenchrigError) -> Verdict:
    """The unit has failed where it, its link or a limit is the cause; else nothing was learnt of it."""
    return "fail" if error.cause in OF_THE_UNIT else "error"


def step_verdict(error: BenchrigError | None, broken: list[str], left: list[str]) -> tuple[Verdict, Cause | None, str]:
    """The verdict of a step, its cause, and the sentence: an error outweighs broken limits, these outweigh limits that
    were not judged."""
    if isinstance(error, InnerError) and error.verdict == "skip":
        return ("fail", "limit", "; ".join([error.message, *broken])) if broken else ("skip", None, error.message)
    if error is None and not broken:
        return ("error", "station", "; ".join(left)) if left else ("pass", None, "")
    if error is None:
        return "fail", "limit", "; ".join(dict.fromkeys(broken))
    return verdict_of(error), error.cause, "; ".join([error.message, *broken])


def internal(error: BaseException) -> InternalError:
    wrapped = InternalError(f"{type(error).__name__}: {error}", advice="report this bug of benchrig, with the record")
    wrapped.__cause__ = error
    return wrapped


def traceback_of(error: BenchrigError | None) -> str:
    if not isinstance(error, InternalError) or error.__cause__ is None:
        return ""
    return "".join(traceback.format_exception(error.__cause__))


async def closed(radio: Radio) -> BenchrigError | None:
    """Close the radio; what went wrong with that."""
    try:
        await radio.close()
    except BenchrigError as error:
        return error
    except Exception as error:
        return internal(error)
    return None
