"""What a record says of how something ended, as the run had it: as errors."""

from __future__ import annotations

from benchrig.errors import BenchrigError, Cause, InnerError, InternalError, LeftOut, NotSecured
from benchrig.record.events import AttemptFailed, Closed, Where
from benchrig.record.model import Execution, Record
from benchrig.run.ending import LEAVE_OUT

_PLAN_TIME = "the plan's deadline of "
NOTHING_JUDGED = "no limit was judged, so nothing was proved"


def error_of(execution: Execution) -> BenchrigError | None:
    """The error behind the end of an execution that began; None where limits alone decided."""
    event = execution.ended
    if event is None or event.verdict == "pass":
        return None
    if event.verdict == "skip" and event.allowed:
        return LeftOut()
    said = _own(execution, event)
    if not said:
        return None
    if event.root is not None or event.verdict == "skip":
        return _inner(execution, event, said)
    return told(event.cause, said, event.advice, event.tells)


def _own(execution: Execution, event: Closed) -> str:
    """The part of the message that an error says."""
    if event.own is not None:
        return event.own
    judgements = [each.judgement for each in execution.readings if each.judgement is not None]
    broken = [judgement.sentence for judgement in judgements if not judgement.passed]
    if broken and event.message == "; ".join(dict.fromkeys(broken)):
        return ""  # a record of a format that does not tell the two apart
    return "" if event.cause == "station" and event.advice == LEAVE_OUT else event.message


def _inner(execution: Execution, event: Closed, said: str) -> BenchrigError:
    """What a step in it came to; or a step before it, which was to pair: that has an advice."""
    if event.advice or not execution.children:
        return NotSecured(said, event.root, advice=event.advice)
    verdict = "skip" if event.verdict == "pass" else event.verdict
    return InnerError(said, verdict, event.cause or "plan", event.root, said)


def told(cause: Cause | None, message: str, advice: str = "", tells: str = "") -> BenchrigError:
    """An error whose kind the record does not say."""
    error = BenchrigError(message, advice=advice, tells=tells)
    error.cause = cause or "internal"
    return error


def of_attempt(failed: AttemptFailed) -> BenchrigError:
    return told(failed.cause, failed.message)


def is_plan_time(error: BenchrigError | None) -> bool:
    """Whether the plan's own time had run out."""
    return error is not None and error.message.startswith(_PLAN_TIME)


def is_of_the_plan(error: BenchrigError | None) -> bool:
    """Whether it says something of the plan of the run, and nothing of the unit: by another plan it may not have come."""
    return error is not None and (is_plan_time(error) or (type(error) is BenchrigError and error.cause == "plan"))


def outside(record: Record) -> tuple[BenchrigError, Where | None] | None:
    """What ended the run and was the end of no step: an interruption, a radio that could not be opened."""
    end = record.ended
    if end is None or end.verdict == "pass" or end.message == NOTHING_JUDGED:
        return None
    ends = (each.ended for each in record.executions if each.ended and each.where == end.root)
    if any(end.message == each.message or end.message.endswith(f" was skipped: {each.message}") for each in ends):
        return None
    if end.cause == "internal":
        return InternalError(end.message, advice=end.advice), end.root
    return told(end.cause, end.message, end.advice), end.root
