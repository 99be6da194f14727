"""Whether values look normal: Anderson and Darling's test, mean and standard deviation estimated.

A² with its correction and p-value: Stephens, in D'Agostino and Stephens, Goodness-of-Fit Techniques, 1986, section 4.8,
table 4.9.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from benchrig.study.describe import centred, numbers_of

# The p-value is a fit that holds from so many values on.
FEWEST = 8
# Parts of the range of A²: up to this, p = e^(a + bA + cA²), or 1 less that.
_FIT = (
    (0.2, (-13.436, 101.14, -223.73), True),
    (0.34, (-8.318, 42.796, -59.938), True),
    (0.6, (0.9177, -4.279, -1.38), False),
    (13.0, (1.2937, -5.709, 0.0186), False),
)


def anderson_darling(values: ArrayLike) -> tuple[float, float] | None:
    """A² as corrected for the number of values, and p; None for too few values, or equal ones."""
    numbers = numbers_of(values)
    off = centred(numbers)[1]
    square = float(np.square(off).sum())
    if numbers.size < FEWEST or not square:
        return None
    z = np.sort(off) / math.sqrt(square / (numbers.size - 1))
    found = _statistic(z) * (1 + 0.75 / z.size + 2.25 / z.size**2)
    return found, _chance(found)


def _statistic(z: np.typing.NDArray[np.float64]) -> float:
    """-n - Σ (2i - 1)(ln F(z_i) + ln(1 - F(z_(n+1-i)))) / n."""
    from scipy.special import log_ndtr  # type: ignore[import-untyped]

    weights = 2 * np.arange(1, z.size + 1) - 1
    return float(-z.size - (weights * (log_ndtr(z) + log_ndtr(-z[::-1]))).sum() / z.size)


def _chance(found: float) -> float:
    for top, (a, b, c), mirrored in _FIT:
        if found < top:
            chance = math.exp(a + b * found + c * found**2)
            return 1 - chance if mirrored else chance
    return 0.0
