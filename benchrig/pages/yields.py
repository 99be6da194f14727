"""Yield on a page: first pass and final, over time, what units failed of, what does not count."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from xml.etree import ElementTree as ET

from benchrig.figures.grouping import Group
from benchrig.figures.yields import Again, YieldFigure
from benchrig.html.elements import Child, el
from benchrig.html.parts import details, figure, row, section, table
from benchrig.html.plots import plotted
from benchrig.pages import curves, words
from benchrig.pages.links import Links
from benchrig.source.problem import counted
from benchrig.study.yields import Share

MOST = 100
# Over more time than this yield is shown by the day, and else by the hour.
_SHORT = timedelta(days=3)


def yields(told: YieldFigure, links: Links, place: str, title: str) -> Iterator[ET.Element]:
    if not told.runs:
        yield section(f"{title}: no run counts", *_apart(told), id_=place)
        return
    yield section(title, *_shares(told), *_over_time(told, place), *_apart(told), id_=place)
    if told.failures:
        yield section("What units failed of", *_failures(told, links), id_=f"{place}-failures")
    if told.retested:
        title = "Failed, then passed with the same firmware, plan and limits"
        yield section(title, *_retested(told, links), id_=f"{place}-retested")


def _shares(told: YieldFigure) -> Iterator[ET.Element]:
    yield el("p", f"First pass {words.share(told.first_pass)}", class_="share")
    rows = _share("first pass", told.first_pass), _share("final", told.final)
    heads = ("yield", "passed", "units", "share", "95 %, exact", "95 %, Wilson")
    yield table("Yield", heads, rows, numbers=heads[1:])
    yield el("ul", *(el("li", each) for each in notes(told)))


def _share(name: str, of: Share) -> ET.Element:
    numbers = (words.percent(of.share), words.interval(of.exact), words.interval(of.wilson))
    made = row(name, of.passed, of.of)
    made.extend(el("td", each, class_="n") for each in numbers)
    return made


def notes(told: YieldFigure) -> Iterator[str]:
    """What has to be known before the share is believed."""
    yield f"{counted(told.runs, 'run')} of {counted(told.units, 'unit')} count."
    if told.earlier:
        yield (f"{counted(told.earlier.units, 'unit')} had a run before these, {told.earlier.failed} of them failed then;"
               f" first pass of the others: {words.share(told.earlier.first_pass)}.")  # fmt: skip
    if told.again:
        yield f"No first tests: {', '.join(map(_tested_again, told.again))}; final takes the last result of a unit."
    if told.without_first:
        yield f"{counted(told.without_first, 'unit')} with a first result outside these runs: in no first pass here."
    for what, names in (("revisions of the plan", told.revisions), ("limit sets", told.limit_sets)):
        if len(names) > 1:
            yield f"These runs have {len(names)} {what}: {', '.join(name or 'none' for name in names)}."
    if told.versions > 1:
        yield f"The text of the plan has {told.versions} versions."
    if told.unknown:
        yield f"{counted(told.unknown, 'failed run')} told nothing of the unit: each counts as another unit."
    if told.by_address:
        yield f"{counted(told.by_address, 'run')} had only an address, which belongs to one unit."
    if told.lacking:
        yield f"In {counted(told.lacking, 'passed run')} a limit was not judged, as the plan or the command allowed."


def _tested_again(each: Again) -> str:
    what = "retest" if each.purpose == "retest" else "run after a repair"
    return f"{counted(each.runs, what, 'retests' if each.purpose == 'retest' else 'runs after a repair')} ({each.passed} passed)"


def is_short(told: YieldFigure) -> bool:
    """Whether hours tell more than days."""
    return not (told.since and told.until and told.until - told.since > _SHORT)


def _over_time(told: YieldFigure, place: str) -> Iterator[ET.Element]:
    by = "hour" if is_short(told) else "day"
    last = told.groups[by][-MOST:]
    if len([each for each in last if each.first_pass.share is not None]) > 1:
        says = f"First pass of each {by} with its 95 % interval (Wilson), UTC."
        says += f" The last {MOST} of {len(told.groups[by])} are shown." if len(told.groups[by]) > MOST else ""
        plot = plotted(says, f"{place}-{by}", curves.shares(last))
        yield figure(plot, says, details("The same as a table", _groups(by, last)))
    for name in ("station", "slot", "firmware"):
        if len(told.groups[name]) > 1:
            yield _groups(name, told.groups[name][-MOST:])


def _groups(name: str, groups: Sequence[Group]) -> ET.Element:
    heads = (name, "runs", "first tests", "passed", "first pass", "last tests", "passed in the end", "final")
    rows = (
        row(each.name or "not known", each.runs, each.first_pass.of, each.first_pass.passed, words.percent(each.first_pass.share),
            each.final.of, each.final.passed, words.percent(each.final.share))
        for each in groups
    )  # fmt: skip
    return table(f"Yield by {name}", heads, rows, numbers=heads[1:])


def _apart(told: YieldFigure) -> Iterator[Child]:
    if told.apart:
        yield el("h3", "Runs that do not count")
        yield table("Runs that do not count", ("why", "runs"), [row(_why(each.why), each.runs) for each in told.apart], numbers=("runs",))  # fmt: skip


def _why(why: str) -> str:
    return "PARTIAL" if why == "partial" else why


def _failures(told: YieldFigure, links: Links) -> Iterator[Child]:
    most, every = told.failures[0].runs, sum(each.runs for each in told.failures)
    rows = (
        row(each.step or "before the first step", each.reading, each.cause, each.runs, each.units,
            el("span", f"{words.percent(each.runs / every)} ", _bar(each.runs / most)),
            links.run(each.run_id[:8], each.folder), each.message)
        for each in told.failures[:MOST]
    )  # fmt: skip
    heads = ("step", "reading", "cause", "runs", "units", "share", "last run", "what it says")
    yield table("What units failed of", heads, rows, numbers=("runs", "units"))
    yield from left_out(len(told.failures), "kind of failure")


def _bar(part: float) -> Child:
    return el("span", "▇" * max(1, round(12 * part)), class_="bad", aria_hidden="true")


def _retested(told: YieldFigure, links: Links) -> Iterator[Child]:
    rows = (
        row(each.unit, each.purpose, each.firmware, each.step, each.reading, links.run(each.failed_run[:8], each.failed_folder),
            links.run(each.passed_run[:8], each.passed_folder))
        for each in told.retested[:MOST]
    )  # fmt: skip
    heads = ("unit", "tested again as", "firmware", "step", "reading", "failed", "passed")
    yield table("Units that passed after a failure", heads, rows)
    yield from left_out(len(told.retested), "unit")


def left_out(count: int, what: str) -> Iterator[ET.Element]:
    if count > MOST:
        yield el("p", f"{counted(count - MOST, what)} more: not shown.", class_="dim")
