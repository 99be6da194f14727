"""The capability of a reading on a page: against each pair of limits that its values were held against."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from benchrig.figures.capability import AgainstLimits
from benchrig.html.elements import Child, el
from benchrig.html.parts import row, table
from benchrig.pages import words
from benchrig.pages.links import Links
from benchrig.pages.reading import Reading

# Of values with many limits the last ones are shown.
MOST = 5


def capability(told: Reading, links: Links) -> Iterator[Child]:
    parts = told.capability.parts
    shown = [each for each in parts[-MOST:] if each.capability]
    if shown:
        heads = ("limits", "values", "Cp", "Cpk", "Pp", "Ppk", "outside, observed", "outside, fitted", "last run")
        rows = (_row(each, told.measure, links) for each in shown)
        yield table(f"Capability of {told.label}, with 95 % intervals", heads, rows, numbers=heads[1:2], class_="stack")
    refused = dict.fromkeys(f"No capability: {each.refused}." for each in parts[-MOST:] if each.refused)
    several = [f"The limits changed {len(parts) - 1} times: each has its own capability."] * (len(parts) > 1)
    doubts = dict.fromkeys(_doubt(doubt.says, doubt.test, doubt.p) for each in shown for doubt in each.doubts)
    if lines := [*several, *refused, *doubts]:
        yield el("ul", *(el("li", each) for each in lines))


def _row(part: AgainstLimits, measure: str, links: Links) -> ET.Element:
    found = part.capability
    assert found is not None
    indices = (found.within.ratio, found.within.worst, found.overall.ratio, found.overall.worst)
    cells = [words.estimate(each) if each else "none" for each in indices]
    shares = [words.share_of_whole(each, "none") for each in (found.outside.observed, found.outside.fitted)]
    return row(
        ends(part.low, part.high, measure), part.n, *cells, *shares, links.run(part.last_run[:8], part.last_folder)
    )


def ends(low: float | None, high: float | None, measure: str) -> str:
    """'0 to 10 V', 'at least 0 V', 'at most 10 V'; '' without any."""
    if low is not None and high is not None:
        return f"{words.limit(low)} to {words.limit(high, measure)}"
    if low is not None:
        return f"at least {words.limit(low, measure)}"
    return f"at most {words.limit(high, measure)}" if high is not None else ""


def _doubt(says: str, test: str | None, p: float | None) -> str:
    told = ", ".join(each for each in (test, None if p is None else f"p {p:.2g}") if each)
    return f"{says} ({told})" if told else says
