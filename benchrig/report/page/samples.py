"""Samples that a run has kept, over time. Only where there are any is anything heavy loaded."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from benchrig.html.elements import el
from benchrig.html.parts import details, figure, section
from benchrig.record.events import Kept, Reading
from benchrig.record.model import Execution, Record
from benchrig.report import explain
from benchrig.report.page import bounds
from benchrig.source.problem import counted
from benchrig.text.escape import plain, value_text
from benchrig.values.quantity import as_float, is_number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_CELL = 60
# Of samples that are no numbers so many are listed.
_LISTED = 200


def sections_of(record: Record) -> list[ET.Element]:
    found = [(step, reading, reading.kept) for step in record.executions for reading in step.readings if reading.kept]
    shown = bounds.most_telling(found, bounds.PLOTS, lambda each: not _passed(each[1]))
    if not shown:
        return []
    left = bounds.left_out(len(found) - len(shown), "reading", "record.jsonl has the samples of all of them")
    note = [el("p", left, class_="notice")] if left else []
    parts = [_shown(number, *each) for number, each in enumerate(shown, 1)]
    return [section("Samples", *note, *parts, id_="samples")]


def _passed(reading: Reading) -> bool:
    return reading.judgement is None or reading.judgement.passed


def _shown(number: int, step: Execution, reading: Reading, kept: Kept) -> ET.Element:
    name = f"{explain.title(step)}, {plain(reading.name, explain.NAME_LIMIT)}"
    numbers = zip(kept.at, map(as_float, kept.values), strict=False)
    points = [(at, number) for at, number in numbers if number is not None]
    says = _says(name, reading, kept)
    if len(points) < 2:
        return _listed(says, kept)
    from benchrig.html.plots import plotted  # matplotlib

    return figure(plotted(says, f"samples-{number}", lambda axes: _draw(axes, points, reading)), says)


def _says(name: str, reading: Reading, kept: Kept) -> str:
    came = len(kept.values) + kept.left_out
    which = f"one in {kept.every} of {came}" if kept.left_out else f"all {came}"
    parts = [f"{name}: {counted(len(kept.values), 'sample')} on record, {which}"]
    if reading.samples is not None and reading.samples.minimum is not None:
        parts.append(f"measured {explain.from_to(reading.samples, _CELL)} {plain(reading.unit, 12)}".rstrip())
    judgement = reading.judgement
    if judgement is not None:
        verdict = "pass" if judgement.passed else f"fail, {counted(_outside(reading), 'sample')} outside"
        parts.append(f"limit {plain(judgement.limit, _CELL)}: {verdict}")
    return "; ".join(parts)


def _outside(reading: Reading) -> int:
    return reading.samples.outside if reading.samples is not None else 0


def _draw(axes: Axes, points: list[tuple[float, float]], reading: Reading) -> None:
    from benchrig.html.plots import BAD, BLUE, WARN

    times, values = zip(*points, strict=True)
    axes.plot(times, values, color=BLUE, marker="." if len(points) <= 200 else "", linewidth=1)
    judgement = reading.judgement
    for edge in (judgement.low, judgement.high) if judgement is not None else ():
        if is_number(edge):
            axes.axhline(edge, color=WARN, linestyle="--")
    if judgement is not None and not judgement.passed:
        outside = [(at, value) for at, value in points if _breaks(value, judgement.low, judgement.high)]
        axes.plot([at for at, _ in outside], [value for _, value in outside], "x", color=BAD)
    axes.set_xlabel("seconds since the start of the run")
    axes.set_ylabel(plain(reading.unit, 12))


def _breaks(value: float, low: object, high: object) -> bool:
    return (is_number(low) and value < low) or (is_number(high) and value > high)  # type: ignore[operator]


def _listed(says: str, kept: Kept) -> ET.Element:
    return details(says, el("ul", *_lines(kept)))


def _lines(kept: Kept) -> Iterator[ET.Element]:
    for at, value in [*zip(kept.at, kept.values, strict=False)][:_LISTED]:
        yield el("li", f"{at:.6f} s: {value_text(value, explain.NAME_LIMIT)}")
    if len(kept.values) > _LISTED:
        yield el("li", f"and {len(kept.values) - _LISTED} more, which record.jsonl has")
