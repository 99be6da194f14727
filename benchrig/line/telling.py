"""A verdict in the words of the line: which step decided, what to do with the unit."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from benchrig.errors import Cause, speaks_of_unit
from benchrig.line.view import Word
from benchrig.report import explain, whole
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.record.model import Record

_LEVELS = re.compile(r" \(-?[\d.]+ dBm(?:, -?[\d.]+ dBm)*\)")
# It helps who looks for a unit in a log.
_NOTHING_ELSE = " (nothing else was)"
# Of a screen that is read from two metres.
_MOST = 300

TAKE_OUT = "take the unit out, and scan its label"
# What a screen with little room has to say first.
_LOST = "the link was lost"
SCAN_FIRST = "scan its label when it is taken out"
PASSED = "take the unit out, scan the next one"
RELABEL = "put the unit aside with its label: do not relabel it here"
FAILED = "put the unit into the red box"
_AGAIN: dict[Cause | None, str] = {
    "station": "the unit is not judged: call whoever looks after the station, then scan the label again",
    "plan": "the unit is not judged: call whoever looks after the test plans",
    "operator": "the unit is not judged: scan its label again",
    "internal": "the unit is not judged: keep the record, and call whoever looks after the station",
}
_NOT_JUDGED = "the unit is not judged: scan its label again"


def word_of(record: Record) -> Word:
    """What the record says of the unit: STOP for all that says nothing of it, a pass that proves nothing among them."""
    if record.ended is None or record.run.left_out:
        return "STOP"
    if explain.outcome(record) == "pass":
        return "PASS"
    counts = record.verdict == "fail" and speaks_of_unit("fail", record.cause or "")
    return "FAIL" if counts else "STOP"


def says(record: Record) -> str:
    """The step that decided, and what it says; '' for a pass."""
    if record.verdict == "pass":
        return "" if word_of(record) == "PASS" else explain.outcome(record)
    if (trouble := whole.run_trouble(record)) is not None:
        return plain(trouble.message, _MOST)
    step = whole.decisive(record)
    if step is None:
        return plain(record.message, _MOST)
    said = explain.said(step) if step.ended else explain.CUT_OFF
    first = f"{_LOST}: " if record.cause == "link" and _LOST in said else ""
    return plain(f"{first}{explain.telling_title(step)}: {said.replace(_NOTHING_ELSE, '')}", _MOST)


def without_levels(text: str) -> str:
    """For somebody at the line: how strong a unit was is in the log."""
    return _LEVELS.sub("", text)


def wrong_label(unit: str, said: str) -> str:
    """Why a unit failed that has another number than its label: first that, then the step which has seen it."""
    return plain(f"wrong label: the unit is {unit}; {said}", _MOST)


def step_of(record: Record) -> str:
    """The name of the step that decided; '' where none did."""
    step = whole.decisive(record)
    return step.planned.name if step is not None else ""


def reading_of(record: Record) -> str:
    """The first reading of that step that broke its limit; '' where none did."""
    step = whole.decisive(record)
    failed = explain.failed_readings(step) if step is not None else []
    return failed[0].name if failed else ""


def again(*, was_met: bool) -> str:
    """What to do with a unit that failed, where the rules of the station allow another test with nothing done to it."""
    first = "" if was_met else "see that it is on and put in well, "
    return f"{first}scan RETEST, then its label again; else {FAILED}"


def to_do(word: Word, cause: Cause | None) -> str:
    """What to do with a unit."""
    if word == "PASS":
        return PASSED
    if word == "FAIL":
        return FAILED
    return _AGAIN.get(cause, _NOT_JUDGED)
