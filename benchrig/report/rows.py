"""The record as rows of a datalog, plain text: one a reading, and one for a step that its readings do not explain. A step
of a repetition has its rows once, over all rounds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from benchrig.report import explain, whole
from benchrig.report.outline import NOT_JUDGED, Entry, OverRounds, ReadingOverRounds, outline, verdict_over
from benchrig.text.escape import plain, value_text

if TYPE_CHECKING:
    from collections.abc import Iterator

    from benchrig.record.events import Reading
    from benchrig.record.model import Execution, Record
    from benchrig.values.judging import Judgement

_UNIT_LIMIT = 12
# The name of a reading is what one looks for: it is not cut as other cells are.
_NAME_LIMIT = 60
_INDENT = "  "


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
    # whether `low` is the least value, and no limit in words
    is_least: bool = False

    @property
    def ended(self) -> str:
        """'fail', 'fail: link'."""
        return f"{self.verdict}: {self.cause}" if self.cause else self.verdict

    @property
    def cells(self) -> tuple[str, ...]:
        return (self.step, self.reading, self.low, self.measured, self.high, self.unit, self.ended)


def rows_of(record: Record, *, unjudged: bool, cell: int) -> list[Row]:
    """All rows. `unjudged` keeps readings without a limit; `cell` bounds the characters of a cell."""
    return [row for entry in outline(record) for row in _rows(entry, unjudged, cell)]


def _rows(entry: Entry, unjudged: bool, cell: int) -> Iterator[Row]:
    label = _INDENT * entry.depth + (
        whole.over_title(entry) if isinstance(entry, OverRounds) else explain.title(entry.step)
    )
    label += " (finally)" if "finally" in (entry.node.section, entry.node.part) else ""
    if isinstance(entry, OverRounds):
        return _over_rows(entry, label, unjudged, cell)
    return _step_rows(entry.step, label, unjudged, cell)


def _step_rows(step: Execution, label: str, unjudged: bool, cell: int) -> Iterator[Row]:
    left = {limit.name: NOT_JUDGED for limit in explain.unmeasured(step)}
    left |= {limit.name: "left out" for limit in step.not_judged if whole.is_left_out(step, limit)}
    # what a matrix stands for is shown in that
    given = [r for r in step.readings if r.judgement is not None or not r.access]
    readings = [r for r in given if unjudged or r.judgement is not None or r.name in left]
    state = explain.state(step)
    if state not in {_verdict(reading) for reading in readings}:
        yield Row(label, verdict=state, cause=(step.ended and step.ended.cause) or "")
        label = ""
    for reading in readings:
        yield _reading_row(label, reading, cell, _verdict(reading) or left.get(reading.name, ""))
        label = ""
    for name in sorted(left.keys() - {reading.name for reading in readings}):
        yield Row(label, plain(name, cell), verdict=left[name])
        label = ""


def _over_rows(entry: OverRounds, label: str, unjudged: bool, cell: int) -> Iterator[Row]:
    """`cause` says in how many rounds it did not pass."""
    undone = entry.state in ("skip", "left out")
    shown = [r for r in entry.readings.values() if not undone and ((unjudged and r.count) or verdict_over(r))]
    rows = [_over_row("", reading, cell) for reading in shown]
    told = sum(reading.failed for reading in shown)
    if entry.state not in {row.verdict for row in rows} or entry.bad > told:
        rows.insert(0, Row("", verdict=entry.state, cause=f"{entry.bad} of {entry.times}" if entry.bad else ""))
    yield from (row._replace(step="" if at else label) for at, row in enumerate(rows))


def _over_row(step: str, reading: ReadingOverRounds, cell: int) -> Row:
    samples = reading.samples
    low, high = _limits(reading.judgement, cell)
    measured = explain.measured(reading.last, cell) if reading.last is not None else ""
    if samples is not None:
        measured = explain.from_to(samples, cell)
    cause = f"{reading.failed} of {reading.failed + reading.passed}" if reading.failed else ""
    name = f"{plain(reading.name, max(cell, _NAME_LIMIT))} (n={reading.count})"
    unit, least = plain(reading.unit, _UNIT_LIMIT), _has_least(reading.judgement)
    return Row(step, name, low, measured, high, unit, verdict_over(reading), cause, least)


def _reading_row(label: str, reading: Reading, cell: int, verdict: str) -> Row:
    so_far = ", so far" if reading.partial else ""
    many = f" (n={reading.samples.count}{so_far})" if reading.samples is not None else ""
    low, high = _limits(reading.judgement, cell)
    sure = reading.judgement.confidence if reading.judgement is not None else None
    many += "" if sure is None else f" ({value_text(sure)} %)"
    return Row(
        label,
        plain(reading.name, max(cell, _NAME_LIMIT)) + many,
        low,
        explain.measured(reading, cell),
        high,
        plain(reading.unit, _UNIT_LIMIT),
        verdict,
        is_least=_has_least(reading.judgement),
    )


def _has_least(judgement: Judgement | None) -> bool:
    return judgement is not None and judgement.low is not None


def _limits(judgement: Judgement | None, cell: int) -> tuple[str, str]:
    """Low and high limit. A limit without bounds stands in words where the low one would."""
    if judgement is None:
        return "", ""
    low, high = (
        _end(end, stated, cell)
        for end, stated in ((judgement.low, judgement.stated_low), (judgement.high, judgement.stated_high))
    )
    return (low, high) if low or high else (plain(judgement.limit, cell), "")


def _end(end: Any, stated: Any, cell: int) -> str:
    """'7.8 (of 8)': an acceptance limit, and the limit that a guard band has drawn in."""
    text = value_text(end, cell)
    return text if stated is None else f"{text} (of {value_text(stated, cell)})"


def _verdict(reading: Reading) -> str:
    if reading.judgement is None:
        return ""
    return "pass" if reading.judgement.passed else "fail"
