"""The checks of the station with one unit: what it read slot by slot, and whether that stays."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.etree import ElementTree as ET

from benchrig.figures.drift import DriftFigure, DriftOfSlot, drift_of
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.life import Life
from benchrig.html.elements import Child, el
from benchrig.html.parts import figure, row, section, table
from benchrig.html.plots import plotted
from benchrig.pages import curves, words
from benchrig.pages.links import Links
from benchrig.pages.reading import DRAWN
from benchrig.source.problem import counted

# So many are drawn: those first that failed, then those that move.
PICTURES = 30


def checks_of(history: History, lived: Life, links: Links) -> Iterator[ET.Element]:
    """Nothing for a unit that was no golden one."""
    if not any(each.run.purpose == "golden" and not each.run.left_out for each in lived.runs):
        return
    figures = drift_of(history, Filters(unit=(lived.name,), simulated=lived.simulated), none=True)
    every = [(figure, slot) for figure in figures for slot in figure.slots]
    if every:
        told = sorted(every, key=lambda each: (-each[1].failed, not each[1].moves, not each[1].fired))
        yield section("Drift of this golden unit", _table(told, links), *_notes(told), *_pictures(told), id_="drift")


def _table(told: Sequence[tuple[DriftFigure, DriftOfSlot]], links: Links) -> ET.Element:
    heads = (
        "reading",
        "slot",
        "checks",
        "failed",
        "mean",
        "last",
        "limits",
        "change a day, 95 %",
        "rules that fire",
        "last check",
    )
    return table(
        "Checks with this golden unit",
        heads,
        (_row(each, slot, links) for each, slot in told),
        numbers=heads[2:6],
        class_="stack",
    )


def _row(told: DriftFigure, slot: DriftOfSlot, links: Links) -> ET.Element:
    last = slot.checks[-1]
    fired = ", ".join(f"{each.rule} ({each.count})" for each in slot.fired)
    made = row(told.reading, slot.slot, slot.n, slot.failed, class_="open" if slot.failed else "")
    numbers = words.number(slot.mean.value, told.measure), words.limit(last.value, told.measure)
    made.extend(el("td", each, class_="n") for each in numbers)
    ends = " to ".join("…" if end is None else words.limit(end) for end in (last.low, last.high))
    trend = words.estimate(slot.trend, told.measure) if slot.trend else f"none: {slot.no_trend}"
    cell: Child = el("strong", trend) if slot.moves else trend
    made.extend(el("td", each) for each in (ends, cell, fired, links.run(last.run_id[:8], last.folder)))
    return made


def _notes(told: Sequence[tuple[DriftFigure, DriftOfSlot]]) -> Iterator[ET.Element]:
    yield el("p", "The unit stays the same: what moves is the station, or the unit ages. A change in bold is more than chance explains.", class_="dim")  # fmt: skip
    if len(told) > PICTURES:
        yield el("p", f"Pictures of {PICTURES} of {counted(len(told), 'reading')}: those first that failed, then those that move.", class_="dim")  # fmt: skip


def _pictures(told: Sequence[tuple[DriftFigure, DriftOfSlot]]) -> Iterator[ET.Element]:
    for at, (each, slot) in enumerate(told[:PICTURES]):
        if slot.n > 1:
            says = f"{each.reading} of {each.plan}, slot {slot.slot or 'not known'}, check by check"
            says += f", the last {DRAWN} of {slot.n}." if slot.n > DRAWN else "."
            yield figure(plotted(says, f"d{at}", curves.checks(slot, each.measure), 1.8), says)
