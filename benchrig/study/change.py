"""How far the means of two groups of values are apart."""

from __future__ import annotations

import math

from numpy.typing import ArrayLike

from benchrig.study.describe import Description, describe
from benchrig.study.distributions import student
from benchrig.study.estimate import Estimate

# More values are never less sure, and their number of ways would have thousands of digits.
_PLENTY = 100


def mean_of(values: ArrayLike, confidence: float = 0.95) -> Estimate:
    """The mean with the interval of Student (Biometrika 6, 1908); of one value, or without any spread, there is none."""
    told = describe(values)
    return _around(told.mean, told.sd / math.sqrt(told.n), told.n - 1.0, confidence)


def change_of(before: ArrayLike, after: ArrayLike, confidence: float = 0.95) -> Estimate:
    """The mean of `after` less that of `before`, with the interval of Welch (Biometrika 34, 1947) for spreads that differ.
    Groups of one value, or without any spread, have none."""
    first, second = describe(before), describe(after)
    one, other = _square(first), _square(second)
    if min(first.n, second.n) < 2 or not one + other:
        return Estimate(second.mean - first.mean)
    freedom = (one + other) ** 2 / (one**2 / (first.n - 1) + other**2 / (second.n - 1))
    return _around(second.mean - first.mean, math.sqrt(one + other), freedom, confidence)


def shifted(before: ArrayLike, after: ArrayLike, confidence: float = 0.95) -> bool:
    """Whether no change at all is left out: by the interval of the change. Groups without any spread have none, and differ where
    chance alone would seldom part so many values so (the permutation test of Fisher, The Design of Experiments, 1935)."""
    first, second = describe(before), describe(after)
    if not first.sd and not second.sd:
        return first.mean != second.mean and _by_chance(first.n, second.n) <= 1 - confidence
    change = change_of(before, after, confidence)
    return change.low is not None and change.high is not None and not change.low <= 0 <= change.high


def _by_chance(one: int, other: int) -> float:
    """How probable it is that values of two kinds fall into two groups by kind; groups of one size can in two ways."""
    few, many = sorted((min(one, _PLENTY), min(other, _PLENTY)))
    return (1 + (few == many)) / math.comb(few + many, few)


def _square(told: Description) -> float:
    """Of the standard error of the mean."""
    return told.sd**2 / told.n


def _around(middle: float, error: float, freedom: float, confidence: float) -> Estimate:
    if not error or freedom < 1:
        return Estimate(middle)
    reach = student((1 + confidence) / 2, freedom) * error
    return Estimate(middle, middle - reach, middle + reach)
