"""Readings over firmware revisions on a page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.etree import ElementTree as ET

from benchrig.figures.revisions import Revision
from benchrig.html.elements import Child, el
from benchrig.html.parts import details, figure, row, section, table
from benchrig.html.plots import plotted
from benchrig.pages import curves, words
from benchrig.pages.links import Links
from benchrig.pages.reading import Reading
from benchrig.pages.readings import PICTURES
from benchrig.source.problem import counted

MOST = 40


def revisions(told: Sequence[Reading], links: Links, place: str) -> Iterator[ET.Element]:
    """Those readings first that changed; none where all runs have one firmware."""
    several = [each for each in told if len(each.revisions) > 1]
    if not several:
        return
    changed = [each for each in several if any(revision.differs for revision in each.revisions)]
    others = [each for each in several if each not in changed]
    inner = [
        part for at, each in enumerate([*changed, *others][:PICTURES]) for part in _one(each, f"{place}{at}", links)
    ]
    says = (
        f"The mean of {len(changed)} of {counted(len(several), 'reading')} differs from one firmware to the next"
        " (95 % interval; where no value differs within a firmware, by the number of values)."
    )
    yield section("Firmware", el("p", says), *inner, id_=place)


def _one(told: Reading, place: str, links: Links) -> Iterator[Child]:
    shown = told.revisions[-MOST:]
    yield el("h3", told.label)
    says = f"Mean of {told.label} with each firmware, in the order in which they were seen, with its 95 % interval."
    says += f" The last {MOST} of {len(told.revisions)} are shown." if len(told.revisions) > MOST else ""
    heads = ("firmware", "values", "failed", "mean", "change from the one before", "last run")
    rows = (
        row(each.firmware or "not known", each.n, each.failed, words.estimate(each.mean, told.measure),
            el("span", _change(each, told.measure), class_="bad" if each.differs else ""), links.run(each.run_id[:8], each.folder))
        for each in shown
    )  # fmt: skip
    plot = plotted(says, place, curves.means(shown, told), 2.0)
    yield figure(
        plot,
        says,
        details("The same as a table", table(f"{told.label} by firmware", heads, rows, numbers=heads[1:3]), open_=True),
    )


def _change(of: Revision, measure: str) -> str:
    """Without spread there is no interval, and a change is exact."""
    if of.change is None:
        return ""
    exact = ", exact: the values with each firmware are equal" if of.differs and of.change.low is None else ""
    return f"{words.estimate(of.change, measure)}{exact}"
