"""Constants of control charts, computed for normal values: what ranges and standard deviations of small samples come to,
in standard deviations (ASTM E2587-16; Montgomery, Introduction to Statistical Quality Control, 7th edition, appendix VI).
"""

from __future__ import annotations

import math
from functools import cache

# Beyond this no value and no range counts: the chance is below 1 in 10**15 for a million values.
_FAR, _WIDEST = 9.5, 16.0
_VALUES, _RANGES = 400, 120


@cache
def d2(size: int) -> float:
    """The mean of the range of so many values (Tippett, Biometrika 17, 1925)."""
    return _moments(size)[0]


@cache
def d3(size: int) -> float:
    """The standard deviation of the range."""
    mean, square = _moments(size)
    return math.sqrt(square - mean**2)


@cache
def c4(size: int) -> float:
    """The mean of the standard deviation of so many values: √(2/(n-1)) Γ(n/2) / Γ((n-1)/2)."""
    _check(size)
    return math.sqrt(2 / (size - 1)) * math.exp(math.lgamma(size / 2) - math.lgamma((size - 1) / 2))


@cache
def _moments(size: int) -> tuple[float, float]:
    """Mean and mean square of the range R: ∫ P(R > r) dr and ∫ 2r P(R > r) dr, with
    P(R <= r) = n ∫ φ(x) (F(x + r) - F(x))^(n-1) dx."""
    import numpy as np
    from scipy.special import ndtr  # type: ignore[import-untyped]

    _check(size)
    nodes, weights = np.polynomial.legendre.leggauss(_RANGES)
    ranges, weights = (nodes + 1) * _WIDEST / 2, weights * _WIDEST / 2
    x, step = np.linspace(-_FAR - _WIDEST, _FAR, _VALUES, retstep=True)
    inside = ndtr(x[None, :] + ranges[:, None]) - ndtr(x)[None, :]
    density = np.exp(-np.square(x) / 2) / math.sqrt(2 * math.pi)
    beyond = 1 - size * step * (inside ** (size - 1) @ density)
    return float(weights @ beyond), float(weights @ (2 * ranges * beyond))


def _check(size: int) -> None:
    if size < 2:
        raise ValueError(f"expected samples of 2 values or more, found {size}")


# Factors of the limits of charts, for samples of n values.


def a2(size: int) -> float:
    """A2: the limits of means are so many mean ranges away."""
    return 3 / (d2(size) * math.sqrt(size))


def range_limits(size: int) -> tuple[float, float]:
    """D3, D4: the limits of ranges, in mean ranges."""
    reach = 3 * d3(size) / d2(size)
    return max(0.0, 1 - reach), 1 + reach


def a3(size: int) -> float:
    """A3: the limits of means are so many mean standard deviations away."""
    return 3 / (c4(size) * math.sqrt(size))


def sd_limits(size: int) -> tuple[float, float]:
    """B3, B4: the limits of standard deviations, in mean standard deviations."""
    reach = 3 * math.sqrt(1 - c4(size) ** 2) / c4(size)
    return max(0.0, 1 - reach), 1 + reach
