"""The page of a unit: all that the history knows of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from xml.etree import ElementTree as ET

from benchrig.history.moments import moment_text
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.life import life_of
from benchrig.history.questions.values import all_values
from benchrig.html.document import document
from benchrig.html.elements import Child, el
from benchrig.html.parts import contents, figure, row, section, table
from benchrig.html.plots import plotted
from benchrig.pages import curves, words
from benchrig.pages.checks import checks_of
from benchrig.pages.life import disagreements, life, names
from benchrig.pages.links import Links
from benchrig.pages.reading import DRAWN, Reading, reading_of
from benchrig.pages.readings import PICTURES, drawn_of, limits_cell, worst_first
from benchrig.pages.style import STYLE
from benchrig.pages.whole_set import GENERATOR, SIMULATED, marks


def page_of_unit(history: History, name: str, to: Path, on: datetime, *, simulated: bool = False) -> bytes:
    """The page of the unit that has this serial number or address, to be written to `to`. UsageError where none has."""
    lived = life_of(history, name, simulated=simulated)
    links = Links(history, to)
    of_unit = Filters(unit=(name,), simulated=simulated)
    told = [made for values in all_values(history, of_unit) if (made := reading_of(values))]
    parts = [life(lived, links), *_readings(told, links), *checks_of(history, lived, links)]
    head = el("header", *marks(simulated=simulated), *disagreements(lived), el("h1", f"Unit {name}"), names(lived),
              el("p", f"page of {moment_text(on)} UTC", class_="sub"))  # fmt: skip
    title = f"{SIMULATED}: unit {name}" if simulated else f"Unit {name}"
    return document(title, GENERATOR, head, contents(parts), el("main", *parts), style=STYLE)


def _readings(told: Sequence[Reading], links: Links) -> Iterator[ET.Element]:
    if not told:
        return
    told = worst_first(told)
    drawn = [at for at in drawn_of(told) if told[at].told.n > 1]
    heads = ("reading", "plan", "values", "failed", "last", "lowest", "highest", "limits", "last run")
    rows = (_row(at, each, at in drawn, links) for at, each in enumerate(told))
    inner: list[Child] = [table("Readings", heads, rows, numbers=heads[2:7], class_="stack")]
    if len(told) > PICTURES:
        inner.append(el("p", f"Pictures of {PICTURES} of {len(told)} readings: those first that failed.", class_="dim"))
    yield section("Readings of whole runs", *inner, *(_drawn(told[at], f"r{at}") for at in drawn), id_="readings")


def _row(at: int, told: Reading, drawn: bool, links: Links) -> ET.Element:
    name = el("a", told.label, href=f"#r{at}") if drawn else told.label
    made = row(name, told.plan, told.told.n, told.failed, class_="open" if told.failed else "")
    numbers = (told.last.value, told.told.minimum, told.told.maximum)
    made.extend(el("td", words.limit(each, told.measure), class_="n") for each in numbers)
    made.extend((limits_cell(told), el("td", links.run(told.last.run_id[:8], told.last.folder))))
    return made


def _drawn(told: Reading, place: str) -> ET.Element:
    says = f"{told.label} of {told.plan}, value by value"
    says += f", the last {DRAWN} of {told.told.n}." if told.told.n > DRAWN else "."
    return figure(plotted(says, place, curves.values_in_order(told, lines=False), 1.8), says)
