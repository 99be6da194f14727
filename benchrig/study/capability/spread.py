"""The standard deviations of a process: within, what neighbours or the values of a subgroup differ by, and overall."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from benchrig.study.charts.constants import d2, d3
from benchrig.study.charts.individuals import mean_moving_range
from benchrig.study.describe import centred, numbers_of
from benchrig.study.distributions import sd_factors
from benchrig.study.estimate import Estimate, Unsuitable

Method: TypeAlias = Literal["moving range", "pooled by subgroup", "overall"]


@dataclass(frozen=True)
class Sd:
    """A standard deviation, the degrees of freedom that its interval is made with, and how it was found."""

    method: Method
    freedom: float
    sd: Estimate


def overall(values: ArrayLike, confidence: float = 0.95) -> Sd:
    """With n - 1 below it."""
    numbers = _two(values)
    return _made("overall", float(numbers.size - 1), _deviation(centred(numbers)[1], numbers.size - 1), confidence)


def by_moving_range(values: ArrayLike, confidence: float = 0.95) -> Sd:
    """The mean moving range of neighbours by d2. Ranges that share a value depend on one another: the degrees of freedom
    are those with which √(χ²/ν) varies as much, 0.605 (n - 1) of many values (Cryer and Ryan, Journal of Quality
    Technology 22, 1990)."""
    numbers = _two(values)
    mean_range = mean_moving_range(centred(numbers)[1])
    return _made("moving range", _freedom_of_ranges(numbers.size), mean_range / d2(2), confidence)


def _freedom_of_ranges(count: int) -> float:
    """1 / 2V, with V the relative variance of the mean of so many values' moving ranges. Neighbouring differences have the
    correlation -1/2, the mean of the product of their amounts is (4/π)(√3/2 + π/12)."""
    both = 4 / math.pi * (math.sqrt(3) / 2 + math.pi / 12) - d2(2) ** 2
    ranges = count - 1
    return ranges / 2 / ((d3(2) ** 2 + 2 * (ranges - 1) / ranges * both) / d2(2) ** 2)


def pooled(groups: Sequence[ArrayLike], confidence: float = 0.95) -> Sd:
    """The root of the mean variance within subgroups, by their degrees of freedom. Subgroups of one value add nothing."""
    numbers = [numbers_of(group) for group in groups]
    freedom = sum(group.size - 1 for group in numbers)
    if not freedom:
        raise Unsuitable("expected a subgroup of 2 values or more, found none")
    off = np.concatenate([centred(group)[1] for group in numbers])
    return _made("pooled by subgroup", float(freedom), _deviation(off, freedom), confidence)


def _made(method: Method, freedom: float, sd: float, confidence: float) -> Sd:
    low, high = sd_factors(freedom, confidence)
    return Sd(method, freedom, Estimate(sd, sd * low, sd * high))


def _deviation(off: np.typing.NDArray[np.float64], freedom: int) -> float:
    return math.sqrt(float(np.square(off).sum()) / freedom)


def _two(values: ArrayLike) -> np.typing.NDArray[np.float64]:
    numbers = numbers_of(values)
    if numbers.size < 2:
        raise Unsuitable(f"expected 2 values or more, found {numbers.size}")
    return numbers
