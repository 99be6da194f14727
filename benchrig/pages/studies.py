"""Gauge studies on a page: how far the station itself makes values differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from xml.etree import ElementTree as ET

from benchrig.errors import BenchrigError
from benchrig.gauge.design import DESIGN
from benchrig.gauge.figure import Figure, ReadingFigure, figure_of
from benchrig.gauge.measures import apart
from benchrig.gauge.state import State, state_of
from benchrig.history.moments import moment_text
from benchrig.history.opening import History
from benchrig.history.questions.runs import RunRow
from benchrig.html.elements import Child, el
from benchrig.html.parts import row, section, table
from benchrig.pages import words
from benchrig.pages.links import Links
from benchrig.pages.study_values import study_values
from benchrig.source.problem import counted
from benchrig.study.estimate import Estimate
from benchrig.study.gauge.rating import rated, rated_ratio


def studies(history: History, runs: Sequence[RunRow], links: Links, place: str) -> Iterator[ET.Element]:
    """Those that the runs belong to, in the order of their first runs."""
    named: dict[str, list[RunRow]] = {}
    for run in runs:
        if run.study:
            named.setdefault(run.study, []).append(run)
    if named:
        every = enumerate(named.values())
        inner = (part for at, found in every for part in _study(history, found, links, f"{place}-{at}"))
        yield section("Gauge studies", *inner, id_=place)


def _study(history: History, runs: Sequence[RunRow], links: Links, place: str) -> Iterator[Child]:
    last, folders = runs[-1], folders_of(history, runs)
    named = ", ".join(dict.fromkeys(each.name for each in folders)) or f"study {last.study[:8]}"
    yield el("h3", f"{named}: {last.plan}, {moment_text(runs[0].started)[:10]}")
    made = _figure(folders)
    if isinstance(made, str):
        yield el("p", f"{counted(len(runs), 'run')} of the study {last.study}: {made}.")
    else:
        state, figure = made
        yield el("p", f"{counted(len(figure.units), 'unit')}, {counted(len(figure.appraisers), 'appraiser')}, "
                      f"{counted(figure.repeats, 'repeat')}: {counted(figure.n, 'run')}.")  # fmt: skip
        yield from _crossed([each for each in figure.readings if each.anova])
        yield from _short([each for each in figure.readings if each.repeats])
        notes = [*figure.notes, *(f"{each.reading}: {note}" for each in figure.readings for note in each.notes)]
        if notes:
            yield el("ul", *(el("li", each) for each in notes))
        yield from study_values(figure, state, links, place)
    yield el("p", "Last run: ", links.run(last.run_id[:8], last.folder))


def folders_of(history: History, runs: Sequence[RunRow]) -> list[Path]:
    """The folders of a study, one for each station: that of its design is above the folder with its runs."""
    above = dict.fromkeys(history.folder(run.folder).parent.parent for run in runs if run.folder)
    return [each for each in above if (each / DESIGN).is_file()]


def _figure(folders: Sequence[Path]) -> tuple[State, Figure] | str:
    """Why there is none where a study is not complete, or its design is gone."""
    if not folders:
        return "its design is not there"
    try:
        state = state_of(folders)
        return state, figure_of(state)
    except BenchrigError as error:
        return error.message


def _crossed(readings: Sequence[ReadingFigure]) -> Iterator[Child]:
    if readings:
        heads = ("reading", "method", "station, of total", "station, of tolerance", "rated", "categories (ndc)")
        yield table("Gauge studies by analysis of variance and by ranges", heads, (made for each in readings for made in _methods(each)))  # fmt: skip


def _methods(told: ReadingFigure) -> Iterator[ET.Element]:
    """Both, one below the other."""
    if told.anova and (gauge := told.anova.chosen.gauge):
        ndc = told.anova.chosen.ndc
        yield row(told.reading, f"variance, {told.anova.chosen.model}", _share(gauge.of_total), _share(gauge.of_tolerance),
                  _rated(gauge.of_total, gauge.of_tolerance), "" if ndc is None else str(ndc))  # fmt: skip
    if told.ranges and (part := told.ranges.gauge):
        total, tolerance = (None if each is None else Estimate(each) for each in (part.of_total, part.of_tolerance))
        ndc = told.ranges.ndc
        yield row(told.reading, "ranges", _share(total), _share(tolerance), _rated(total, tolerance), "" if ndc is None else str(ndc))  # fmt: skip


def _rated(total: Estimate | None, tolerance: Estimate | None) -> str:
    """By the worse of the two."""
    found = [each for each in (total, tolerance) if each]
    return rated(*found) if found else ""


def _short(readings: Sequence[ReadingFigure]) -> Iterator[Child]:
    if readings:
        heads = ("reading", "values", "mean", "standard deviation", "6 sd of the tolerance", "Cg", "Cgk", "rated")
        yield table("Gauge studies of one unit", heads, map(_repeats, readings), numbers=heads[1:2])


def _repeats(told: ReadingFigure) -> ET.Element:
    found = told.repeats
    assert found is not None
    figures = (found.cg, found.cgk)
    ratios = [each for each in figures if each]
    return row(told.reading, found.n, words.estimate(found.mean, told.measure), words.estimate(found.sd, apart(told.measure)),
               _share(found.of_tolerance), *(words.estimate(each) if each else "" for each in figures),
               rated_ratio(*ratios) if ratios else "")  # fmt: skip


def _share(of: Estimate | None) -> str:
    if of is None:
        return ""
    if of.low is None or of.high is None:
        return words.percent(of.value)
    return f"{words.percent(of.value)} ({words.interval((of.low, of.high))})"
