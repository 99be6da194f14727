"""What pages share: sections, tables, facts, contents, marks that cannot be overlooked, figures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.etree import ElementTree as ET

from benchrig.html.elements import Child, el, shown

# What a screen shows beyond its edge is reached with the keyboard too.
_WIDE = {"role": "group", "tabindex": "0"}


def section(title: str, *children: Child, id_: str) -> ET.Element:
    return el("section", el("h2", title, id=id_), *children, aria_labelledby=id_)


def contents(sections: Iterable[ET.Element]) -> ET.Element:
    """Links to the sections."""
    links = (el("a", each[0].text or "", href=f"#{each[0].get('id')}") for each in sections)
    return el("nav", *links, aria_label="Contents")


def facts(pairs: Iterable[tuple[str, Child]]) -> ET.Element:
    """Names and what they stand for; what is empty is left out."""
    return el("dl", *(part for name, value in pairs if value != "" for part in (el("dt", name), el("dd", value))))


def notice(word: str, says: str = "") -> ET.Element:
    """What nobody may overlook: 'SIMULATED', with what it means. On paper too."""
    return el("p", el("strong", word), f" {says}" if says else "", class_="notice")


def table(
    name: str,
    heads: Sequence[str],
    rows: Iterable[ET.Element],
    numbers: Sequence[str] = (),
    class_: str = "",
) -> ET.Element:
    """With `numbers` the columns of that name are to the right. One of class 'stack' needs no width: see `stacked`."""
    rows = [stacked(each, heads) for each in rows] if "stack" in class_.split() else rows
    head = el("tr", *(el("th", text, scope="col", class_="n" if text in numbers else "") for text in heads))
    return wide(name, el("table", el("thead", head), el("tbody", *rows), class_=f"plain {class_}".strip()))


def stacked(made: ET.Element, heads: Sequence[str]) -> ET.Element:
    """The row with the head of its column at each cell: on a narrow screen the cells of a row stand below each other."""
    for cell, text in zip(made, heads, strict=False):
        cell.set("data-head", shown(text))
    return made


def wide(name: str, inner: ET.Element, class_: str = "wide") -> ET.Element:
    return el("div", inner, class_=class_, aria_label=name, **_WIDE)


def row(head: Child, *cells: Child | int, class_: str = "") -> ET.Element:
    """The first cell is the head of the row, numbers are to the right."""
    made = el("tr", el("th", head, scope="row"), class_=class_)
    made.extend(el("td", str(each), class_="n") if isinstance(each, int) else el("td", each) for each in cells)
    return made


def details(summary: str, *children: Child, open_: bool = False) -> ET.Element:
    """What is shown on demand."""
    return el("details", el("summary", summary), *children, open="open" if open_ else "")


def figure(picture: ET.Element, says: Child, *more: Child) -> ET.Element:
    """A picture with the text beside it, which says what it shows to those who cannot see it."""
    return el("figure", picture, el("figcaption", says, *more))
