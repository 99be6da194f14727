"""Plots of measured values, drawn by matplotlib: inline SVG without any script, coloured by the style of the page.

The same values give the same bytes: ids are hashed from the name of the place, dates are UTC, no setting of a user counts.
"""

from __future__ import annotations

import logging
import re
import warnings
from collections.abc import Callable, Sequence
from io import StringIO
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

from benchrig.html.elements import shown
from benchrig.html.parts import wide
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Colours to draw with, each of which becomes one of the style.
TEXT, LINE, DIM, BAD, GOOD, WARN, BLUE = (f"#01010{number}" for number in range(1, 8))
_STYLED = {TEXT: "currentColor", LINE: "var(--line)", DIM: "var(--dim)", BAD: "var(--bad)", GOOD: "var(--good)",
           WARN: "var(--warn)", BLUE: "var(--link)", "#000000": "currentColor"}  # fmt: skip
_SETTINGS: dict[str, Any] = {
    "svg.fonttype": "none", "text.parse_math": False, "font.size": 10, "timezone": "UTC", "axes.unicode_minus": True,
    "axes.edgecolor": DIM, "axes.labelcolor": TEXT, "xtick.color": DIM, "xtick.labelcolor": TEXT, "ytick.color": DIM,
    "ytick.labelcolor": TEXT, "text.color": TEXT, "axes.spines.top": False, "axes.spines.right": False, "grid.color": LINE,
    "date.converter": "concise", "axes.formatter.useoffset": False, "lines.linewidth": 1.2, "figure.dpi": 72,
}  # fmt: skip
_SPACE = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"


def plotted(name: str, place: str, draw: Callable[[Axes], None], height: float = 2.6) -> ET.Element:
    """`name` is what a screen reader says of it, `place` its id, which the page has once."""
    return stacked(name, place, [draw], height)


def stacked(name: str, place: str, draws: Sequence[Callable[[Axes], None]], height: float = 2.6) -> ET.Element:
    """One above the other, over the same axis."""
    lines = _drawn(place, draws, (9.0, height * len(draws))).split("\n")
    root = ET.fromstring("\n".join(plain(each, 10 * len(each)) for each in lines))
    _made_part_of_a_page(root, place)
    root.attrib = {
        "role": "img",
        "aria-label": shown(name),
        "viewBox": root.get("viewBox", ""),
        "class": "plot",
        "id": place,
    }
    return wide(name, root)


def _drawn(place: str, draws: Sequence[Callable[[Axes], None]], size: tuple[float, float]) -> str:
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # of its caches and fonts nobody wants to know
    import matplotlib
    from matplotlib.figure import Figure

    out = StringIO()
    defaults: dict[Any, Any] = {
        key: value for key, value in matplotlib.rcParamsDefault.items() if not key.startswith("backend")
    }
    defaults |= {**_SETTINGS, "svg.hashsalt": place}
    with warnings.catch_warnings(), matplotlib.rc_context(defaults):
        warnings.simplefilter("ignore")  # of letters that its font has not: the browser has them
        figure = Figure(figsize=size, layout="constrained")
        every = figure.subplots(len(draws), 1, sharex=True, squeeze=False)[:, 0]
        for axes, draw in zip(every, draws, strict=True):
            draw(axes)
        figure.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})  # fmt: skip
    return out.getvalue()


def _made_part_of_a_page(root: ET.Element, place: str) -> None:
    """Names without their space, ids of this plot alone, colours and letters of the page."""
    for parent in root.iter():
        for child in [*parent]:
            if child.tag.removeprefix(_SPACE) in ("metadata", "style"):
                parent.remove(child)
    for each in root.iter():
        each.tag = each.tag.removeprefix(_SPACE)
        if href := each.attrib.pop(_HREF, ""):
            each.set("href", f"#{place}-{href[1:]}")
        if (id_ := each.attrib.pop("id", "")) and each.tag != "g":
            each.set("id", f"{place}-{id_}")
        for key in ("style", "clip-path"):
            if key in each.attrib:
                each.set(key, _restyled(each.attrib[key], place))


def _restyled(text: str, place: str) -> str:
    text = re.sub(r"font-family:[^;]*;?\s*", "", text).replace("url(#", f"url(#{place}-")
    return re.sub(r"#[0-9a-f]{6}\b", lambda found: _STYLED.get(found[0], found[0]), text)
