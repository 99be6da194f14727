"""Small pictures of shapes, as inline SVG. Colours are classes of the style, so that they follow light, dark and paper."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from benchrig.html.elements import el, shown

Number = float


def picture(name: str, width: Number, height: Number, *shapes: ET.Element, class_: str = "") -> ET.Element:
    """`name` is what a screen reader says of it. It gets as wide as its place, and never wider than `width`."""
    made = el("svg", role="img", aria_label=name, class_=class_)
    made.set("viewBox", f"0 0 {text_of(width)} {text_of(height)}")
    made.set("width", text_of(width))
    made.set("height", text_of(height))
    made.extend(shapes)
    return made


def rectangle(x: Number, y: Number, width: Number, height: Number, class_: str, says: str = "") -> ET.Element:
    return _shape("rect", class_, says, x=x, y=y, width=max(0.0, width), height=max(0.0, height))


def circle(x: Number, y: Number, radius: Number, class_: str, says: str = "") -> ET.Element:
    return _shape("circle", class_, says, cx=x, cy=y, r=radius)


def line(x: Number, y: Number, x2: Number, y2: Number, class_: str, says: str = "") -> ET.Element:
    return _shape("line", class_, says, x1=x, y1=y, x2=x2, y2=y2)


def label(x: Number, y: Number, text: str, class_: str = "", anchor: str = "start") -> ET.Element:
    made = _shape("text", class_, "", x=x, y=y)
    made.set("text-anchor", anchor)
    made.text = shown(text)
    return made


def _shape(tag: str, class_: str, says: str, **numbers: Number) -> ET.Element:
    """`says` is what a pointer over it shows."""
    made = el(tag, *([el("title", says)] if says else []), class_=class_)
    for name, value in numbers.items():
        made.set(name, text_of(value))
    return made


def text_of(number: Number) -> str:
    """At most two digits after the point: '12', '0.25'."""
    return f"{number:.2f}".rstrip("0").rstrip(".")
