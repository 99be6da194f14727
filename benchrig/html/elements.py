"""HTML as a tree: text is escaped where the tree is written, and made harmless to look at before."""

from __future__ import annotations

from functools import cache
from typing import TypeAlias
from urllib.parse import quote
from xml.etree import ElementTree as ET

from benchrig.text.escape import plain

LIMIT = 1000
Child: TypeAlias = "str | ET.Element"


def el(tag: str, *children: Child, **attributes: str | int) -> ET.Element:
    """An element. A '_' at the end of an attribute goes, one within it is a '-': class_, aria_label. An empty one is left out."""
    made = ET.Element(tag)
    for key, value in attributes.items():
        if value != "":
            made.set(_written(key), shown(str(value)))
    for child in children:
        if isinstance(child, ET.Element):
            made.append(child)
        elif len(made):
            made[-1].tail = (made[-1].tail or "") + shown(child)
        else:
            made.text = (made.text or "") + shown(child)
    return made


@cache
def _written(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def shown(text: str) -> str:
    return plain(text, LIMIT)


def verbatim(tag: str, text: str) -> ET.Element:
    """A style or a script, which are benchrig's own and are not escaped."""
    made = ET.Element(tag)
    made.text = text
    return made


def link(text: str, path: str, place: str = "") -> ET.Element:
    """To a file, by its path from the page with '/' between folders; no name of a file is taken for more than that."""
    made = el("a", text)
    made.set("href", quote(path) + (f"#{place}" if place else ""))
    return made
