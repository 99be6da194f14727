"""How fast values rise or fall with time."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from benchrig.study.describe import numbers_of
from benchrig.study.estimate import Estimate, Unsuitable

# With fewer values no slope between two of them is surprising.
FEWEST = 5
# All slopes between two of so many are half a million; of more the last ones are taken.
MOST = 1000


def trend_of(times: ArrayLike, values: ArrayLike, confidence: float = 0.95) -> Estimate:
    """The slope in units of the values for each unit of the times: the median of the slopes between any two of them (Theil,
    Indagationes Mathematicae 12, 1950), which a few odd values do not move, with the interval of Sen (JASA 63, 1968). It holds
    for values that do not depend on one another. Unsuitable for too few, and where no time passes."""
    from scipy.stats import theilslopes  # type: ignore[import-untyped]

    at, found = numbers_of(times)[-MOST:], numbers_of(values)[-MOST:]
    if found.size < FEWEST:
        raise Unsuitable(f"expected {FEWEST} values or more, found {found.size}")
    if not np.ptp(at):
        raise Unsuitable("all values are of one moment")
    slope, _, low, high = theilslopes(found, at, confidence)
    return Estimate(float(slope), float(low), float(high))
