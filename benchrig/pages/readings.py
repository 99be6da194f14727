"""Readings on a page: all in one table, then each with its histogram and its control chart."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from xml.etree import ElementTree as ET

from benchrig.figures.chart import RuleFired
from benchrig.history.moments import moment_text
from benchrig.html.elements import Child, el
from benchrig.html.parts import details, figure, row, section, table
from benchrig.html.plots import plotted
from benchrig.pages import curves, words
from benchrig.pages.capability import capability, ends
from benchrig.pages.links import Links
from benchrig.pages.reading import DRAWN, Example, Reading
from benchrig.source.problem import counted

# Of so many readings pictures are drawn: those first that failed, or whose chart speaks.
PICTURES = 30
_HEADS = ("reading", "values", "failed", "mean", "standard deviation", "lowest", "highest", "limits", "Ppk",
          "rules that fire")  # fmt: skip


def readings(told: Sequence[Reading], links: Links, place: str) -> Iterator[ET.Element]:
    if not told:
        return
    told = worst_first(told)
    drawn = drawn_of(told)
    rows = (_row(at, each, at in drawn, place) for at, each in enumerate(told))
    overview: list[Child] = [table("Readings", _HEADS, rows, numbers=(*_HEADS[1:7], "Ppk"), class_="stack")]
    if len(drawn) < len(told):
        overview.append(
            el("p", f"Pictures of {len(drawn)} of {len(told)} readings: those first that failed.", class_="dim")
        )
    yield section(
        "Readings", *overview, *(part for at in drawn for part in _drawn(told[at], f"{place}{at}", links)), id_=place
    )


def worst_first(told: Sequence[Reading]) -> list[Reading]:
    """Those that failed, by how often; then those with the least Ppk; in the order of their names where these are equal."""
    return sorted(told, key=lambda each: (-each.failed, math.inf if (ppk := each.ppk) is None else ppk))


def drawn_of(told: Sequence[Reading]) -> list[int]:
    """Which ones, in their order."""
    loudest = sorted(range(len(told)), key=lambda at: (-told[at].failed, -len(fired_of(told[at])), at))
    return sorted(loudest[:PICTURES])


def _row(at: int, told: Reading, drawn: bool, place: str) -> ET.Element:
    name = el("a", told.label, href=f"#{place}{at}") if drawn else told.label
    made = row(name, told.told.n, told.failed, class_="open" if told.failed else "")
    numbers = (told.told.mean, told.told.sd, told.told.minimum, told.told.maximum)
    made.extend(el("td", words.number(each, told.measure), class_="n") for each in numbers)
    made.append(limits_cell(told))
    made.append(el("td", words.number(told.ppk), class_="n"))
    made.append(el("td", ", ".join(each.rule for each in fired_of(told))))
    return made


def _drawn(told: Reading, place: str, links: Links) -> Iterator[Child]:
    yield el("h3", told.label, id=place)
    says = f"{told.label}: {summary(told)}"
    yield figure(plotted(f"Histogram. {says}", f"{place}h", curves.histogram(told), 2.2), says)
    says = charted(told)
    if told.chart:
        chart = plotted(f"Control chart of {told.label}. {says}", f"{place}c", curves.values_in_order(told), 2.4)
        yield figure(chart, says)
    else:
        yield el("p", says)
    yield from capability(told, links)
    yield details("The runs behind it", _examples(told, links))


def summary(told: Reading) -> str:
    """'40 values, mean 5 V, standard deviation 0.1 V; limits 0 to 10 V; 2 failed.'"""
    parts = [f"{counted(told.told.n, 'value')}, mean {words.number(told.told.mean, told.measure)}, "
             f"standard deviation {words.number(told.told.sd, told.measure)}"]  # fmt: skip
    parts.append(f"limits {limits_of(told)}" if limits_of(told) else "no limits in numbers")
    far = len([*curves.ends(told.limits)]) - len(curves.ends_in_view(told))
    parts += [f"{counted(far, 'limit')} beyond the picture"] if far else []
    parts += [f"{told.failed} failed"] if told.failed else []
    parts += [f"{counted(told.odd, 'value')} not finite, left out"] if told.odd else []
    parts += [f"{counted(told.not_numbers, 'reading')} not a number, left out"] if told.not_numbers else []
    return f"{'; '.join(parts)}."


def charted(told: Reading) -> str:
    if told.chart is None:
        return f"{told.no_chart}."
    shown = f"The last {DRAWN} of {told.told.n} values. " if told.told.n > DRAWN else ""
    lines = told.chart.lines
    if not told.chart.sigma or lines is None:
        return f"{shown}All neighbours are equal: there are no control limits."
    ends = f"{words.number(lines.low)} to {words.number(lines.high, told.measure)}"
    fired = "; ".join(f"{each.rule}, {each.says}: {counted(each.count, 'time')}" for each in told.chart.fired)
    beyond = told.chart.spread_beyond
    ranges = f" {counted(beyond, 'moving range')} above the limit." if beyond else ""
    return f"{shown}Control limits {ends} (individuals, mean moving range). {fired or 'No rule fires'}.{ranges}"


def fired_of(told: Reading) -> Sequence[RuleFired]:
    return told.chart.fired if told.chart else []


def limits_of(told: Reading) -> str:
    named = [text for each in told.limits if (text := ends(each.low, each.high, told.measure))]
    return (
        f"{len(named)} sets: {', '.join(named[:5])}{', …' if len(named) > 5 else ''}"
        if len(named) > 1
        else "".join(named)
    )


def limits_cell(told: Reading) -> ET.Element:
    return el("td", limits_of(told), class_="whole" if len(told.limits) < 2 else "")


def _examples(told: Reading, links: Links) -> ET.Element:
    named = [("lowest", told.least), ("highest", told.most), *(("failed", each) for each in told.failures)]
    named += [(f"last point of {each.rule}", at) for each in fired_of(told) if (at := _last(told, each.rule))]
    rows = (_example(what, each, told.measure, links) for what, each in named)
    return table(
        f"Runs behind {told.label}", ("what", "value", "unit", "started, UTC", "run"), rows, numbers=("value",)
    )


def _example(what: str, each: Example, measure: str, links: Links) -> ET.Element:
    value = el("span", words.number(each.value, measure), class_="n")
    return row(what, value, each.unit, moment_text(each.at), links.run(each.run_id[:8], each.folder))


def _last(told: Reading, rule: str) -> Example | None:
    points = told.chart.points if told.chart else []
    found = next((each for each in reversed(points) if rule in each.rules), None)
    return None if found is None else Example(found.run_id, found.folder, found.unit, found.started, found.value)
