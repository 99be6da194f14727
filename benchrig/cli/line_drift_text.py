"""The drift of golden units in the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from benchrig.cli.capability_text import measured
from benchrig.cli.history_text import SIMULATED, record_place
from benchrig.cli.text_page import TextPage
from benchrig.history.moments import moment_text
from benchrig.source.problem import counted
from benchrig.text.chart import extent, scale, strip
from benchrig.text.escape import plain, value_text, with_unit
from benchrig.text.tables import print_table

if TYPE_CHECKING:
    from benchrig.figures.drift import Check, DriftFigure, DriftOfSlot
    from benchrig.history.opening import History

_CELL = 60
# Checks of a course in a table, of a chart, and of the list below it.
_COURSE, _DRAWN, _LISTED = 16, 60, 20
_HEIGHT = 6
# With less room a table has no course.
_WIDE = 100


class DriftPage(TextPage):
    longest = 500

    def __init__(self, history: History) -> None:
        super().__init__()
        self._history = history
        self._ascii = self._console.options.ascii_only

    def show(self, station: str, figures: Sequence[DriftFigure], *, whole: bool, simulated: bool) -> None:
        """With `whole` each slot has a chart and its checks one by one, else a line of a table."""
        self._banner(SIMULATED * simulated)
        self._line(f"DRIFT  golden units of {plain(station, _CELL)}", "bold")
        for (reference, plan), group in groupby(figures, lambda each: (each.reference, each.plan)):
            self._console.print()
            told = [*group]
            units = ", ".join(
                dict.fromkeys(plain(slot.unit, _CELL) or "not known" for each in told for slot in each.slots)
            )
            named = plain(reference, _CELL) or "without a name"
            self._line(f"{named}, unit {units}, plan {plain(plan, _CELL)}", "bold")
            self._table(told, whole=whole)
            for sentence in (each for figure in told for each in _said(figure)):
                self._line(sentence, "yellow")
            for figure in told if whole else ():
                for slot in figure.slots:
                    self._slot(figure, slot)

    def _table(self, figures: Sequence[DriftFigure], *, whole: bool) -> None:
        headings = ("reading", "slot", "values", "failed", "mean", "last", "limits", "change a day, 95 %", "course")
        shown = headings if self._console.width >= _WIDE else headings[:-1]
        rows = [
            (
                self._cells(figure, slot)[: len(shown)],
                "red" if slot.failed else "yellow" if slot.moves or slot.fired else "",
            )
            for figure in figures
            for slot in figure.slots
            if whole or not _is_still(slot)
        ]
        if (still := sum(map(_is_still, (slot for each in figures for slot in each.slots)))) and not whole:
            self._line(
                f"{counted(still, 'reading')} with one value in all checks of a slot: not shown, --reading shows them"
            )
        print_table(self._console, shown, rows, right=headings[2:6], whole=(headings[1], headings[8]))

    def _cells(self, figure: DriftFigure, slot: DriftOfSlot) -> tuple[str, ...]:
        last, measure = slot.checks[-1], figure.measure
        (course,) = strip([each.value for each in slot.checks[-_COURSE:]], ascii_only=self._ascii)
        several = f", unit {plain(slot.unit, _CELL)}" if len({each.unit for each in figure.slots}) > 1 else ""
        names = plain(figure.reading, _CELL), (plain(slot.slot, _CELL) or "–") + several
        numbers = _short(slot.mean.value, measure), with_unit(last.value, plain(measure))
        return (*names, str(slot.n), str(slot.failed), *numbers, _limits(last), _trend(slot), course)

    def _slot(self, figure: DriftFigure, slot: DriftOfSlot) -> None:
        self._console.print()
        self._line(f"{figure.reading}, slot {slot.slot or 'not known'}, unit {slot.unit or 'not known'}", "bold")
        drawn = slot.checks[-_DRAWN:]
        self._chart([each.value for each in drawn], _flags(drawn), figure.measure)
        if len(drawn) < slot.n:
            self._line(f"the last {len(drawn)} of {slot.n} values")
        if slot.lines:
            ends = f"{_short(slot.lines.low)} to {_short(slot.lines.high, figure.measure)}"
            self._line(f"centre {_short(slot.lines.centre, figure.measure)}, limits of the chart {ends}")
        self._checks(drawn[-_LISTED:], figure.measure)

    def _chart(self, values: Sequence[float], flags: str, measure: str) -> None:
        low, high = extent(values) or (0.0, 0.0)
        marks = scale(with_unit(low, plain(measure)), with_unit(high, plain(measure)), _HEIGHT)
        wide = max(map(len, marks))
        for mark, row in zip(marks, strip(values, _HEIGHT, ascii_only=self._ascii), strict=True):
            self._line(f"{mark:>{wide}} {row}")
        if flags.strip():
            self._line(f"{'':>{wide}} {flags}  F failed, ! a rule fires")

    def _checks(self, shown: Sequence[Check], measure: str) -> None:
        headings = ("started (UTC)", "value", "low", "high", "", "rules", "record")
        rows = [
            ((moment_text(each.started), with_unit(each.value, plain(measure)), value_text(each.low), value_text(each.high),
              "" if each.passed else "FAILED", ", ".join(each.rules), record_place(self._history, each.folder, each.run_id)),
             "" if each.passed else "red")
            for each in shown
        ]  # fmt: skip
        print_table(self._console, headings, rows, right=headings[1:4], whole=headings[:1])


def _flags(checks: Sequence[Check]) -> str:
    return "".join("F" if not each.passed else "!" if each.rules else " " for each in checks)


def _limits(check: Check) -> str:
    low, high = value_text(check.low), value_text(check.high)
    return f"{low} to {high}" if low and high else f"from {low}" if low else f"up to {high}" if high else "–"


def _is_still(slot: DriftOfSlot) -> bool:
    """Whether it was the same in all checks, of which there are several, and none failed."""
    return slot.n > 1 and not slot.failed and len({each.value for each in slot.checks}) == 1


def _short(value: float, measure: str = "") -> str:
    """Four digits of what was worked out."""
    return measured(float(f"{value:.4g}"), measure)


def _trend(slot: DriftOfSlot) -> str:
    """'0.061 (0.058 to 0.063)'."""
    trend = slot.trend
    if trend is None or trend.low is None or trend.high is None:
        return "–"
    return f"{trend.value:.2g} ({trend.low:.2g} to {trend.high:.2g})"


def _said(figure: DriftFigure) -> Iterator[str]:
    """What a reader of the table should know."""
    for slot in figure.slots:
        where = f"{figure.reading}, slot {slot.slot or 'not known'}"
        if slot.failed:
            yield f"{where}: {counted(slot.failed, 'value')} of {slot.n} failed"
        if slot.moves and slot.trend:
            way = "rises" if slot.trend.value > 0 else "falls"
            yield f"{where}: it {way} by {abs(slot.trend.value):.2g} {plain(figure.measure)} a day, more than chance explains"
        if slot.fired:
            told = ", ".join(f"{each.rule} ({each.count})" for each in slot.fired)
            yield f"{where}: rules of the chart that fire, and how often: {told}"
