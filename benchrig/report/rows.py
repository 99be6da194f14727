"""The record as rows of a datalog, plain text: one a reading, and one for a step that its readings do not explain."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from benchrig.report import explain
from benchrig.text.escape import plain, value_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchrig.record.model import Execution, Reading, Record

_UNIT_LIMIT = 12
# The name of a reading is what one looks for: it is not cut as other cells are.
_NAME_LIMIT = 60
NOT_JUDGED = "not judged"


class Row(NamedTuple):
    """One row. `step` stands in the first row of a step only; `verdict` is '' where nothing was judged, 'not judged' for a
    limit that the radio gave nothing for; the row of a step has its cause."""

    step: str
    reading: str = ""
    low: str = ""
    measured: str = ""
    high: str = ""
    unit: str = ""
    verdict: str = ""
    cause: str = ""

    @property
    def ended(self) -> str:
        """'fail', 'fail: link'."""
        return f"{self.verdict}: {self.cause}" if self.cause else self.verdict

    @property
    def cells(self) -> tuple[str, ...]:
        return (self.step, self.reading, self.low, self.measured, self.high, self.unit, self.ended)


def rows_of(record: Record, *, unjudged: bool, cell: int) -> list[Row]:
    """All rows. `unjudged` keeps readings without a limit; `cell` bounds the characters of a cell."""
    return [row for step in record.steps for row in _step_rows(step, unjudged, cell)]


def _step_rows(step: Execution, unjudged: bool, cell: int) -> Iterator[Row]:
    label = explain.title(step) + (" (finally)" if step.planned.section == "finally" else "")
    left = {limit.name for limit in explain.unmeasured(step)}
    readings = [r for r in step.readings if unjudged or r.judgement is not None or r.name in left]
    state = explain.state(step)
    if state not in {_verdict(reading) for reading in readings}:
        yield Row(label, verdict=state, cause=(step.ended and step.ended.cause) or "")
        label = ""
    for reading in readings:
        yield _reading_row(label, reading, cell, _verdict(reading) or NOT_JUDGED * (reading.name in left))
        label = ""
    for name in sorted(left - {reading.name for reading in readings}):
        yield Row(label, plain(name, cell), verdict=NOT_JUDGED)
        label = ""


def _reading_row(label: str, reading: Reading, cell: int, verdict: str) -> Row:
    so_far = ", so far" if reading.partial else ""
    many = f" (n={reading.samples.count}{so_far})" if reading.samples is not None else ""
    low, high = _limits(reading, cell)
    return Row(
        label,
        plain(reading.name, max(cell, _NAME_LIMIT)) + many,
        low,
        explain.measured(reading, cell),
        high,
        plain(reading.unit, _UNIT_LIMIT),
        verdict,
    )


def _limits(reading: Reading, cell: int) -> tuple[str, str]:
    """Low and high limit. A limit without bounds stands in words where the low one would."""
    judgement = reading.judgement
    if judgement is None:
        return "", ""
    low, high = value_text(judgement.low, cell), value_text(judgement.high, cell)
    return (low, high) if low or high else (plain(judgement.limit, cell), "")


def _verdict(reading: Reading) -> str:
    if reading.judgement is None:
        return ""
    return "pass" if reading.judgement.passed else "fail"
