"""The chart of individual values and their moving ranges (ASTM E2587-16, clause 6; ISO 7870-2:2013).

σ is the mean moving range of neighbours by d2: what changes slowly does not widen the limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from benchrig.study.charts.constants import d2, range_limits
from benchrig.study.charts.rules import RuleSet, Signal, signals
from benchrig.study.describe import centred, numbers_of
from benchrig.study.estimate import Unsuitable


@dataclass(frozen=True)
class Lines:
    """The centre line of a chart and its limits, three standard deviations away."""

    centre: float
    low: float
    high: float


@dataclass(frozen=True)
class Individuals:
    """`moving` are the lines of the moving ranges, `moving_beyond` the ranges above their limit: by the index of the
    second value."""

    n: int
    sigma: float
    values: Lines
    moving: Lines
    signals: tuple[Signal, ...]
    moving_beyond: tuple[int, ...]


def individuals(values: ArrayLike, rules: RuleSet = "nelson") -> Individuals:
    """Of values in the order in which they were measured. Without any spread there are no signals: nothing tells how far
    from the centre is far."""
    numbers = numbers_of(values)
    if numbers.size < 2:
        raise Unsuitable(f"expected 2 values or more, found {numbers.size}")
    mean, off = centred(numbers)
    ranges = np.abs(np.diff(off))
    mean_range = mean_moving_range(off)
    sigma = mean_range / d2(2)
    top = range_limits(2)[1] * mean_range
    beyond = tuple(int(at) + 1 for at in np.flatnonzero(ranges > top)) if sigma else ()
    return Individuals(
        numbers.size, sigma, Lines(mean, mean - 3 * sigma, mean + 3 * sigma), Lines(mean_range, 0.0, top),
        signals(off / sigma, rules) if sigma else (), beyond,
    )  # fmt: skip


def mean_moving_range(values: np.typing.NDArray[np.float64]) -> float:
    """Of neighbours, of which there are two or more."""
    return math.fsum(np.abs(np.diff(values))) / (values.size - 1)
