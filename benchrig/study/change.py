"""How far the means of two groups of values are apart."""

from __future__ import annotations

import math

from numpy.typing import ArrayLike

from benchrig.study.describe import Description, describe
from benchrig.study.estimate import Estimate


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


def _square(told: Description) -> float:
    """Of the standard error of the mean."""
    return told.sd**2 / told.n


def _around(middle: float, error: float, freedom: float, confidence: float) -> Estimate:
    if not error or freedom < 1:
        return Estimate(middle)
    from scipy.stats import t  # type: ignore[import-untyped]

    reach = float(t.ppf((1 + confidence) / 2, freedom)) * error
    return Estimate(middle, middle - reach, middle + reach)
