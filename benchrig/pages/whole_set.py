"""The page of a set of runs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from xml.etree import ElementTree as ET

from benchrig.figures.yields import YieldFigure, yields_of
from benchrig.history.moments import moment_text
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.runs import runs_of
from benchrig.history.questions.values import all_values
from benchrig.html.document import begins, document
from benchrig.html.elements import Child, el
from benchrig.html.parts import contents, facts, notice
from benchrig.pages.links import Links
from benchrig.pages.reading import Reading, reading_of
from benchrig.pages.readings import readings
from benchrig.pages.revisions import revisions
from benchrig.pages.studies import studies
from benchrig.pages.style import STYLE
from benchrig.pages.yields import is_short, yields
from benchrig.report import explain

GENERATOR = "benchrig page"
SIMULATED = "SIMULATED"
BEGINS = begins(GENERATOR)


def page_of_set(history: History, filters: Filters, to: Path, on: datetime) -> bytes:
    """The page that is to be written to `to`. UsageError where no run fits."""
    figures = _yields(history, filters)
    links = Links(history, to)
    told = [made for values in all_values(history, filters) if (made := reading_of(values))]
    several = len(figures) > 1
    parts = [part for at, each in enumerate(figures) for part in _plan(each, f"p{at}", told, links, several)]
    parts += studies(history, runs_of(history, filters), links, "studies")
    title = figures[0].plans[0] if not several else f"{len(figures)} plans"
    head = el("header", *marks(simulated=filters.simulated), el("h1", f"Runs of {title}"), _facts(figures, filters, on))
    named = f"{SIMULATED}: " if filters.simulated else ""
    return document(f"{named}runs of {title}", GENERATOR, head, contents(parts), el("main", *parts), style=STYLE)


def _yields(history: History, filters: Filters) -> list[YieldFigure]:
    """By the hour where that is shown: of a long time there are thousands."""
    by = ("day", "station", "slot", "firmware")
    figures = yields_of(history, filters, by)
    return yields_of(history, filters, (*by, "hour")) if any(map(is_short, figures)) else figures


def marks(*, simulated: bool) -> Iterator[ET.Element]:
    if simulated:
        yield notice(SIMULATED, explain.SIMULATED)


def _facts(figures: Sequence[YieldFigure], filters: Filters, on: datetime) -> ET.Element:
    times = [at for each in figures for at in (each.since, each.until) if at]
    pairs: list[tuple[str, Child]] = [
        ("runs", filters.described or "all"),
        ("first run", moment_text(min(times)) if times else ""),
        ("last run", moment_text(max(times)) if times else ""),
        ("page of", moment_text(on)),
    ]
    return facts([(name, f"{value} UTC" if name != "runs" and value else value) for name, value in pairs])


def _plan(told: YieldFigure, place: str, every: Sequence[Reading], links: Links, several: bool) -> Iterator[ET.Element]:
    """The sections of one plan."""
    yield from yields(told, links, f"{place}-yield", f"Yield of {told.plans[0]}" if several else "Yield")
    of_plan = [each for each in every if each.plan == told.plans[0]]
    yield from readings(of_plan, links, f"{place}-readings")
    yield from revisions(of_plan, links, f"{place}-firmware")
