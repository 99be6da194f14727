"""Capability by percentiles, for values of whatever distribution (ISO 22514-2:2017, ISO 22514-4:2016):
Pp = (U - L) / (X99.865 - X0.135), Ppk the smaller of (U - X50) / (X99.865 - X50) and (X50 - L) / (X50 - X0.135).

For normal values both are the same as by the mean and the standard deviation.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchrig.study.describe import numbers_of
from benchrig.study.estimate import Estimate, Unsuitable
from benchrig.study.ranks import percentile_ranks

# What a normal distribution has up to three standard deviations below its mean, its median, and three above.
PARTS = (0.00135, 0.5, 0.99865)
# The estimator of a percentile: the value at p (n + 1), in proportion between its neighbours.
ESTIMATOR = "Weibull plotting positions"
# Fewer values have none at 0.135 % of them.
NEEDED = 740


@dataclass(frozen=True)
class Percentiles:
    """Percentiles with intervals by order statistics, each with a third of the risk, and what they come to: their ends are
    the worst and the best of the ends of the percentiles, so that the confidence is at least the stated one. An end that
    the values are too few for is None."""

    n: int
    estimator: str
    low: Estimate
    middle: Estimate
    high: Estimate
    ratio: Estimate | None
    worst: Estimate | None


def by_percentiles(values: ArrayLike, low: float | None, high: float | None, confidence: float = 0.95) -> Percentiles:
    numbers = np.sort(numbers_of(values))
    if numbers.size < NEEDED:
        raise Unsuitable(f"expected {NEEDED} values or more for percentiles of 0.135 %, found {numbers.size}")
    found = first, middle, last = [percentile(numbers, part, 1 - (1 - confidence) / 3) for part in PARTS]
    return Percentiles(
        numbers.size, ESTIMATOR, first, middle, last,
        _over(found, lambda x: ratio(x, low, high)), _over(found, lambda x: worst(x, low, high)),
    )  # fmt: skip


def percentile(ordered: NDArray[np.float64], part: float, confidence: float) -> Estimate:
    value = float(np.quantile(ordered, part, method="weibull"))
    ranks = percentile_ranks(ordered.size, part, confidence)
    return Estimate(value, *(None if rank is None else float(ordered[rank - 1]) for rank in ranks))


def ratio(x: Sequence[float], low: float | None, high: float | None) -> float | None:
    """Pp, of the three percentiles; None with one limit, or without any width."""
    if low is None or high is None or x[2] <= x[0]:
        return None
    return (high - low) / (x[2] - x[0])


def sides(x: Sequence[float], low: float | None, high: float | None) -> tuple[float | None, float | None]:
    """Ppk of the lower and of the upper limit."""
    lower = None if low is None or x[1] <= x[0] else (x[1] - low) / (x[1] - x[0])
    upper = None if high is None or x[2] <= x[1] else (high - x[1]) / (x[2] - x[1])
    return lower, upper


def worst(x: Sequence[float], low: float | None, high: float | None) -> float | None:
    """Ppk."""
    return min((side for side in sides(x, low, high) if side is not None), default=None)


def _over(found: Sequence[Estimate], figure: Callable[[Sequence[float]], float | None]) -> Estimate | None:
    """The figure and its ends. It rises or falls with each percentile, so that both are at ends of them."""
    value = figure([each.value for each in found])
    if value is None:
        return None
    corners = [figure(at) for at in product(*((e.low, e.high) for e in found)) if None not in at]  # type: ignore[arg-type]
    whole = [corner for corner in corners if corner is not None] if len(corners) == 8 else []
    return Estimate(value, min(whole), max(whole)) if len(whole) == 8 else Estimate(value)
