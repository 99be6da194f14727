"""The live view of what a device sends: a row a value, and a chart of one of them."""

from __future__ import annotations

import copy
from collections import deque
from dataclasses import dataclass
from typing import Any

from benchrig.cli.watch_text import arrival_text, event_line, often
from benchrig.desk.series import Arrival, Channel, Series
from benchrig.desk.strip import SLICE
from benchrig.desk.watching import Event, Watch
from benchrig.terminal.live import key_line
from benchrig.text.chart import extent, scale, strip
from benchrig.text.columns import Column, fitting, table_lines
from benchrig.text.durations import seconds_text
from benchrig.text.escape import hex_text, plain, value_text
from benchrig.text.wrapping import Line
from benchrig.values.jsonable import tidy
from benchrig.values.quantity import number_text

KEYS = (("q", "quit"), ("up/down", "chart"), ("+/-", "time"), ("h", "hold"))
# Slices of time in a column of the chart.
SCALES = (1, 2, 5, 10, 20, 50, 100, 300)

NAME = Column("attribute", 12, 1, most=40)
VALUE = Column("value", 12, 2, most=30, right=True)
BAD = Column("malformed", 9, 3, right=True)
COUNT = Column("values", 7, 4, right=True)
RATE = Column("per s", 6, 5, right=True)
LOW = Column("lowest", 8, 6, right=True)
HIGH = Column("highest", 8, 7, right=True)
MEAN = Column("mean", 8, 8, right=True)
GAP = Column("gap", 7, 9, right=True)
LONGEST = Column("longest", 7, 10, right=True)
LOST = Column("lost", 6, 4, right=True)
TWICE = Column("duplicated", 10, 8, right=True)
COLUMNS = (NAME, VALUE, RATE, GAP, LONGEST, LOW, MEAN, HIGH, COUNT, LOST, TWICE, BAD)

_LABEL = 12
_CHART = (3, 10)
_NOTES = 3


@dataclass(frozen=True)
class Row:
    """An attribute, a field of one, or (with both) an attribute of a single value."""

    attribute: Channel | None
    series: Series | None
    label: str
    key: tuple[str, str]


class WatchView:
    """Draws a watch; `take` is told what happens."""

    def __init__(self, watch: Watch, title: str, *, ascii_only: bool = False) -> None:
        self._watch, self._title, self._ascii = watch, title, ascii_only
        # attribute and field of the chart, by their names
        self._chosen: tuple[str, str] | None = None
        self._scale = 1
        self._notes: deque[str] = deque(maxlen=_NOTES)
        # what is looked at while the picture is held: the values, and how long the watch had gone on
        self._held: tuple[list[Channel], float] | None = None
        self._waiting = ""

    def take(self, event: Event) -> None:
        """What has to be read is noted; values are in the rows."""
        if not isinstance(event, Arrival):
            self.note(event_line(event).strip())
        elif event.wrong:
            self.note(f"{event.at:.3f} s  {arrival_text(event)}")

    def note(self, sentence: str) -> None:
        self._notes.append(sentence)

    def wait(self, what: str) -> None:
        """What is being waited for, in the head."""
        self._waiting = what

    # --- keys

    def press(self, key: str) -> bool:
        if key in ("up", "down"):
            self._choose(-1 if key == "up" else 1)
        elif key in ("+", "=", "-"):
            self._scale = min(max(0, self._scale + (1 if key == "-" else -1)), len(SCALES) - 1)
        elif key == "h":
            self._held = None if self._held else (copy.deepcopy(self._watch.watched), self._watch.seconds)
        return key != "q"

    def _choose(self, by: int) -> None:
        drawable = [row.key for row in self._rows() if row.series is not None and row.series.is_numeric]
        if drawable:
            at = drawable.index(self._chosen) if self._chosen in drawable else 0
            self._chosen = drawable[(at + by) % len(drawable)]

    # --- what is shown

    def lines(self, width: int, height: int) -> list[Line]:
        if self._chosen is None:
            self._choose(0)
        body = self._body(width, height - 2)
        return [self._head(), *body[: height - 2], [(key_line(KEYS, width), "dim")]]

    @property
    def _watched(self) -> list[Channel]:
        return self._held[0] if self._held else self._watch.watched

    @property
    def _seconds(self) -> float:
        return self._held[1] if self._held else self._watch.seconds

    def _head(self) -> Line:
        watch = self._watch
        state = [("connected", "good") if watch.is_connected else ("no link", "bad")] if watch.unit else []
        if self._waiting or not watch.unit:
            state.append((f"  {self._waiting or 'looking for the device'}", "warn"))
        held = [("  HELD", "warn")] if self._held else []
        return [
            (f"{watch.unit or ''}  {self._title}".strip(), "bold"),
            ("  ", ""),
            *state,
            (f"  {watch.seconds:.1f} s", ""),
            *held,
            *_holes(watch),
        ]

    def _body(self, width: int, height: int) -> list[Line]:
        """The rows, the chart as large as there is room, and the notes at the foot."""
        notes: list[Line] = [[(note, "warn")] for note in self._notes]
        rows = self._table(width, max(2, height - len(notes)))
        left = height - len(rows) - len(notes) - 3
        chart = self._chart(width, min(left, _CHART[1])) if left >= _CHART[0] else []
        room = height - len(rows) - len(chart) - len(notes)
        return [*rows, *chart, *[[("", "")]] * room, *notes]

    def _rows(self) -> list[Row]:
        rows = []
        for each in self._watched:
            single = each.series.get("") if len(each.series) == 1 else None
            rows.append(Row(each, single, each.name, (each.name, "")))
            if single is None:
                fields = [series for series in each.series.values() if series.name]
                rows += [Row(None, series, f"  {series.name}", (each.name, series.name)) for series in fields]
        return rows

    def _table(self, width: int, most: int) -> list[Line]:
        rows = self._rows()
        at = next((n for n, row in enumerate(rows) if self._is_chosen(row)), 0)
        first = max(0, min(at - most + 2, len(rows) - most + 1))
        shown = rows[first:][: most - 1]
        wanted = self._wanted()
        texts = [[*map(self._cells(row).__getitem__, wanted)] for row in shown]
        heading, *drawn = table_lines(fitting(wanted, width - 2, texts), wanted, texts, ascii_only=self._ascii)
        lines: list[Line] = [[(f"  {heading}", "bold")]]
        return lines + [
            [("> " if self._is_chosen(row) else "  ", "good"), (line, "")]
            for row, line in zip(shown, drawn, strict=True)
        ]

    def _wanted(self) -> list[Column]:
        """What is malformed takes room only where something is, what is lost where that is counted."""
        idle = set[Column]() if any(each.malformed for each in self._watched) else {BAD}
        idle |= set() if any(each.tally for each in self._watched) else {LOST, TWICE}
        return [column for column in COLUMNS if column not in idle]

    def _cells(self, row: Row) -> dict[Column, str]:
        cells = dict.fromkeys(COLUMNS, "") | {NAME: plain(row.label)}
        if row.attribute is not None:
            cells |= self._how_often(row.attribute)
        if row.series is not None:
            cells |= _numbers(row.series, is_bytes=row.attribute is not None and row.attribute.form is None)
        if row.attribute is not None and row.attribute.wrong:
            cells[VALUE] = "malformed"
        return cells

    def _how_often(self, watched: Channel) -> dict[Column, str]:
        rate = watched.pace.rate(self._seconds)
        return {
            RATE: "" if rate is None else f"{rate:.4g}",
            GAP: seconds_text(watched.pace.gap()),
            LONGEST: seconds_text(watched.longest),
            COUNT: str(watched.count),
            BAD: str(watched.malformed or ""),
        } | _tally(watched)

    def _chart(self, width: int, height: int) -> list[Line]:
        row = next((row for row in self._rows() if self._is_chosen(row)), None)
        if row is None or row.series is None:
            return []
        series, name = row.series, ", ".join(filter(None, row.key))
        count = max(1, width - _LABEL)
        slices = SCALES[self._scale]
        values = series.strip.columns(self._seconds, count, slices)
        low, high = extent(values) or (None, None)
        marks = scale(_mark(low), _mark(high), height)
        label = f"{name}{', ' + series.unit if series.unit else ''}, the last {count * slices * SLICE:g} s"
        drawn = strip(values, height, ascii_only=self._ascii)
        lines: list[Line] = [[("", "")], [(label, "bold")]]
        return lines + [
            [(f"{mark:>{_LABEL - 1}} ", "dim"), (line, "good")] for mark, line in zip(marks, drawn, strict=True)
        ]

    def _is_chosen(self, row: Row) -> bool:
        return row.series is not None and row.key == self._chosen


def _holes(watch: Watch) -> Line:
    holes = watch.holes
    total = sum(hole.end - hole.start for hole in holes)
    return [(f"  lost {often(len(holes))}, {total:.1f} s without link", "warn")] if holes else []


def _tally(watched: Channel) -> dict[Column, str]:
    """What the counter shows; '?' where it went back."""
    if (tally := watched.tally) is None or tally.duplicated is None:
        return {}
    return {LOST: "?" if tally.lost is None else str(tally.lost), TWICE: str(tally.duplicated)}


def _mark(value: float | None) -> str:
    return "" if value is None else number_text(tidy(value))


def _numbers(series: Series, *, is_bytes: bool) -> dict[Column, str]:
    last: Any = series.last
    shown = hex_text(last) if is_bytes and last is not None else value_text(last)
    cells = {VALUE: f"{shown} {series.unit}" if series.unit and series.is_numeric else shown}
    if series.is_numeric:
        moments = series.moments
        parts = {LOW: moments.minimum, MEAN: float(f"{moments.mean:.6g}"), HIGH: moments.maximum}
        cells |= {column: number_text(value) for column, value in parts.items()}
    return cells
