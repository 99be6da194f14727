"""Run rules: patterns of neighbouring points that chance alone seldom makes.

Nelson, The Shewhart control chart: tests for special causes, Journal of Quality Technology 16 (1984), tests 1 to 8; Western
Electric, Statistical Quality Control Handbook (1956), tests 1 to 4. All comparisons are strict: a point on a line is
beyond none and on no side, and equal neighbours are no trend.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

RuleSet: TypeAlias = Literal["nelson", "western electric"]
Points: TypeAlias = NDArray[np.float64]
Holds: TypeAlias = NDArray[np.bool_]
Fires: TypeAlias = Callable[[Points], Holds]


@dataclass(frozen=True)
class Rule:
    """`fires` says of each point whether it completes the pattern, which has `length` points."""

    name: str
    says: str
    length: int
    fires: Fires


@dataclass(frozen=True)
class Signal:
    """A rule and the points that complete its pattern, by index from 0."""

    rule: str
    says: str
    at: tuple[int, ...]


def signals(z: ArrayLike, rules: RuleSet = "nelson") -> tuple[Signal, ...]:
    """Of points in standard deviations from the centre line, in their order; only rules that fire."""
    points = np.asarray(z, dtype=np.float64)
    found = ((rule, np.flatnonzero(rule.fires(points))) for rule in RULES[rules])
    return tuple(Signal(rule.name, rule.says, tuple(map(int, at))) for rule, at in found if at.size)


def _beyond(limit: float) -> Fires:
    def fires(z: Points) -> Holds:
        beyond: Holds = np.abs(z) > limit
        return beyond

    return fires


def _within(limit: float) -> Fires:
    def fires(z: Points) -> Holds:
        within: Holds = np.abs(z) < limit
        return within

    return fires


def _in_a_row(length: int, holds: Fires) -> Fires:
    """The last `length` points all hold."""

    def fires(z: Points) -> Holds:
        whole: Holds = _counted(holds(z), length) == length
        return whole

    return fires


def _one_side(wanted: int, of: int, limit: float) -> Fires:
    """The point and others, `wanted` of the last `of`, are beyond the limit on one side."""

    def fires(z: Points) -> Holds:
        sides = [side * z > limit for side in (1, -1)]
        either: NDArray[np.bool_] = np.logical_or.reduce([out & (_counted(out, of) >= wanted) for out in sides])
        return either

    return fires


def _steadily(z: Points) -> Holds:
    """Six points, each above the one before, or each below."""
    steps = np.sign(np.diff(z, prepend=z[:1]))
    either: Holds = (_counted(steps > 0, 5) == 5) | (_counted(steps < 0, 5) == 5)
    return either


def _alternating(z: Points) -> Holds:
    """14 points that go up and down in turn: 12 changes of direction in a row."""
    steps = np.sign(np.diff(z, prepend=z[:1]))
    turns = np.zeros(z.size, dtype=np.bool_)
    turns[1:] = steps[1:] * steps[:-1] < 0
    whole: Holds = _counted(turns, 12) == 12
    return whole


def _both_sides(z: Points) -> Holds:
    """8 points in a row beyond one standard deviation, on both sides."""
    above, below = _counted(z > 1, 8), _counted(z < -1, 8)
    both: Holds = (above + below == 8) & (above > 0) & (below > 0)
    return both


def _counted(holds: Holds, length: int) -> NDArray[np.int64]:
    """How many of the last `length` points hold, up to each."""
    sums = np.concatenate(([0], np.cumsum(holds)))
    first = np.maximum(np.arange(1, sums.size) - length, 0)
    counted: NDArray[np.int64] = sums[1:] - sums[first]
    return counted


_SOME = {
    "far": ("1 point beyond 3 standard deviations", 1, _beyond(3)),
    "2 of 3": ("2 of 3 points beyond 2 standard deviations on one side", 3, _one_side(2, 3, 2)),
    "4 of 5": ("4 of 5 points beyond 1 standard deviation on one side", 5, _one_side(4, 5, 1)),
}
RULES: dict[RuleSet, tuple[Rule, ...]] = {
    "nelson": (
        Rule("Nelson 1", *_SOME["far"]),
        Rule("Nelson 2", "9 points in a row on one side of the centre", 9, _one_side(9, 9, 0)),
        Rule("Nelson 3", "6 points in a row steadily up or down", 6, _steadily),
        Rule("Nelson 4", "14 points in a row alternately up and down", 14, _alternating),
        Rule("Nelson 5", *_SOME["2 of 3"]),
        Rule("Nelson 6", *_SOME["4 of 5"]),
        Rule("Nelson 7", "15 points in a row within 1 standard deviation", 15, _in_a_row(15, _within(1))),
        Rule("Nelson 8", "8 points in a row beyond 1 standard deviation on both sides", 8, _both_sides),
    ),
    "western electric": (
        Rule("Western Electric 1", *_SOME["far"]),
        Rule("Western Electric 2", *_SOME["2 of 3"]),
        Rule("Western Electric 3", *_SOME["4 of 5"]),
        Rule("Western Electric 4", "8 points in a row on one side of the centre", 8, _one_side(8, 8, 0)),
    ),
}
