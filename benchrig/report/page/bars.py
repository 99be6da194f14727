"""A reading and its limits as a bar: what passes, and where what was measured lies."""

from __future__ import annotations

import math
from typing import NamedTuple
from xml.etree import ElementTree as ET

from benchrig.html.drawing import circle, line, picture, rectangle
from benchrig.values.judging import Judgement
from benchrig.values.quantity import as_float

_WIDTH, _HEIGHT, _EDGE = 240.0, 22.0, 7.0
# How far a bar reaches beyond the limits, in parts of what is between them; what lies further is drawn at its end.
_BEYOND, _FURTHEST = 0.2, 1.5


class Measured(NamedTuple):
    """What was measured: the least, the greatest and what stands for all of them."""

    least: float
    greatest: float
    usual: float


class Scale(NamedTuple):
    """From numbers to places in the picture."""

    low: float
    high: float

    def x(self, number: float) -> float:
        part = (number - self.low) / (self.high - self.low)
        return _EDGE + (_WIDTH - 2 * _EDGE) * min(1.0, max(0.0, part))


def bar(measured: Measured, judgement: Judgement, says: str) -> ET.Element | None:
    """None where the limit has no bound that is a number. `says` stands for the picture."""
    low, high = as_float(judgement.low), as_float(judgement.high)
    stated = [edge for edge in (as_float(judgement.stated_low), as_float(judgement.stated_high)) if edge is not None]
    edges = [edge for edge in (low, high) if edge is not None]
    if not edges or not all(map(math.isfinite, measured)):
        return None
    scale = _scale([*edges, *stated], measured)
    left = scale.x(low) if low is not None else 0.0
    right = scale.x(high) if high is not None else _WIDTH
    verdict = "good" if judgement.passed else "bad"
    shapes = [rectangle(0, 8, _WIDTH, 6, "track"), rectangle(left, 8, right - left, 6, "passes")]
    shapes += [line(scale.x(edge), 4, scale.x(edge), 18, "stated") for edge in stated]
    shapes += [line(scale.x(edge), 2, scale.x(edge), 20, "limit") for edge in edges]
    shapes += [*_points(measured, scale, verdict)]
    return picture(says, _WIDTH, _HEIGHT, *shapes, class_="bar")


def _points(measured: Measured, scale: Scale, verdict: str) -> list[ET.Element]:
    least, greatest = scale.x(measured.least), scale.x(measured.greatest)
    spread = [rectangle(least, 9.5, greatest - least, 3, f"range {verdict}")] if greatest > least else []
    return [*spread, circle(scale.x(measured.usual), 11, 4.5, f"point {verdict}")]


def _scale(edges: list[float], measured: Measured) -> Scale:
    """Both limits and what was measured, as far as that is not much further away."""
    span = max(edges) - min(edges) or max(abs(edge - measured.usual) for edge in edges) or abs(edges[0]) or 1.0
    low = max(min(*edges, measured.least), min(edges) - _FURTHEST * span) - _BEYOND * span
    high = min(max(*edges, measured.greatest), max(edges) + _FURTHEST * span) + _BEYOND * span
    return Scale(low, high) if math.isfinite(high - low) and high > low else Scale(-1.0, 1.0)
