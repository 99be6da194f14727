"""How a step or a radio ended, in terms of the record: verdict, cause, sentence, traceback."""

from __future__ import annotations

import traceback

from benchrig.errors import BenchrigError, Cause, InnerError, InternalError
from benchrig.radio.radio import Radio
from benchrig.record.events import Verdict

LEAVE_OUT = "leave the limit out for this radio, or say that the run may pass without it: --may-lack STEP.READING"


def verdict_of(error: BenchrigError) -> Verdict:
    """The unit has failed where it, its link or a limit is the cause; else nothing was learnt of it."""
    return "fail" if error.cause in ("limit", "device", "link") else "error"


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
