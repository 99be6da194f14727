"""HTML as a tree: text is escaped where the tree is written, and made harmless to look at before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeAlias
from xml.etree import ElementTree as ET

from benchrig.text.escape import plain

LIMIT = 1000
Child: TypeAlias = "str | ET.Element"
# What a screen shows beyond its edge is reached with the keyboard too.
_WIDE = {"role": "region", "tabindex": "0"}


def el(tag: str, *children: Child, **attributes: str | int) -> ET.Element:
    """An element. A '_' at the end of an attribute goes, one within it is a '-': class_, aria_label. An empty one is left out."""
    given = {key.rstrip("_").replace("_", "-"): shown(str(value)) for key, value in attributes.items() if value != ""}
    made = ET.Element(tag, given)
    for child in children:
        if isinstance(child, ET.Element):
            made.append(child)
        elif len(made):
            made[-1].tail = (made[-1].tail or "") + shown(child)
        else:
            made.text = (made.text or "") + shown(child)
    return made


def shown(text: str) -> str:
    return plain(text, LIMIT)


def verbatim(tag: str, text: str) -> ET.Element:
    """A style or a script, which are benchrig's own and are not escaped."""
    made = ET.Element(tag)
    made.text = text
    return made


def section(title: str, *children: Child, id_: str) -> ET.Element:
    return el("section", el("h2", title, id=id_), *children, aria_labelledby=id_)


def table(
    name: str,
    heads: Sequence[str],
    rows: Iterable[ET.Element],
    numbers: Sequence[str] = (),
    class_: str = "",
) -> ET.Element:
    """With `numbers` the columns of that name are to the right."""
    head = el("tr", *(el("th", text, scope="col", class_="n" if text in numbers else "") for text in heads))
    return wide(name, el("table", el("thead", head), el("tbody", *rows), class_=f"plain {class_}".strip()))


def wide(name: str, inner: ET.Element, class_: str = "wide") -> ET.Element:
    return el("div", inner, class_=class_, aria_label=name, **_WIDE)


def row(head: Child, *cells: Child | int, class_: str = "") -> ET.Element:
    """The first cell is the head of the row, numbers are to the right."""
    made = el("tr", el("th", head, scope="row"), class_=class_)
    made.extend(el("td", str(each), class_="n") if isinstance(each, int) else el("td", each) for each in cells)
    return made


def document(root: ET.Element) -> bytes:
    text: str = ET.tostring(root, encoding="unicode", method="html")
    return f"<!DOCTYPE html>\n{text}\n".encode()
