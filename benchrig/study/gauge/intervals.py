"""Intervals of sums and differences of independent mean squares, and of their ratios: modified large samples (MLS).

Burdick, Borror and Montgomery, Design and Analysis of Gauge R&R Studies, 2005, chapters 2 and 3; Graybill and Wang, JASA
75 (1980) for sums; Ting, Burdick, Graybill, Jeyaratnam and Lu, J. Statist. Comput. Simul. 35 (1990) for differences; Leiva
and Graybill, Comm. Statist. A 15 (1986) for the ratio.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from benchrig.study.distributions import chi_square, f_ratio
from benchrig.study.estimate import Estimate


@dataclass(frozen=True)
class MeanSquare:
    """A sum of squares by its degrees of freedom."""

    value: float
    freedom: int


@cache
def below(freedom: int, risk: float) -> float:
    """G = 1 - ν / χ²(1 - α/2; ν): how far the lower end is from a mean square, in parts of it."""
    return 1 - freedom / chi_square(1 - risk, freedom)


@cache
def above(freedom: int, risk: float) -> float:
    """H = ν / χ²(α/2; ν) - 1."""
    return freedom / chi_square(risk, freedom) - 1


def total(parts: Sequence[tuple[float, MeanSquare]], confidence: float) -> Estimate:
    """Of Σ c S, with no factor c below 0."""
    risk = (1 - confidence) / 2
    value = math.fsum(c * s.value for c, s in parts)
    low = math.hypot(*(below(s.freedom, risk) * c * s.value for c, s in parts))
    high = math.hypot(*(above(s.freedom, risk) * c * s.value for c, s in parts))
    return Estimate(value, value - low, value + high)


def difference(first: MeanSquare, second: MeanSquare, divisor: float, confidence: float) -> Estimate:
    """Of (S1 - S2) / m, whose ends may be below 0."""
    risk = (1 - confidence) / 2
    value = first.value - second.value
    low = _reach(first, second, below(first.freedom, risk), above(second.freedom, risk), 1 - risk)
    high = _reach(first, second, above(first.freedom, risk), below(second.freedom, risk), risk)
    return Estimate(value / divisor, (value - low) / divisor, (value + high) / divisor)


def _reach(first: MeanSquare, second: MeanSquare, own: float, other: float, part: float) -> float:
    """√(g1² S1² + g2² S2² + g12 S1 S2), with g12 = ((F - 1)² - g1² F² - g2²) / F, for the upper end ((1 - F)² - …) alike."""
    f = f_ratio(part, first.freedom, second.freedom)
    both = ((f - 1) ** 2 - (own * f) ** 2 - other**2) / f
    square = (own * first.value) ** 2 + (other * second.value) ** 2 + both * first.value * second.value
    return math.sqrt(max(0.0, square))


def part_of_gauge(unit: MeanSquare, appraiser: MeanSquare, against: MeanSquare, error: MeanSquare,
                  counts: tuple[int, int, int], confidence: float) -> tuple[float, float]:  # fmt: skip
    """The ends of the ratio of a unit's variance to that of the gauge; `against` is the mean square that units and
    appraisers are compared with. `counts` are units, appraisers, repeats."""
    risk = (1 - confidence) / 2
    low = _ratio(unit, appraiser, against, error, counts, 1 - below(unit.freedom, risk), 1 - risk)
    high = _ratio(unit, appraiser, against, error, counts, 1 + above(unit.freedom, risk), risk)
    return max(0.0, low), max(0.0, high)


def _ratio(unit: MeanSquare, appraiser: MeanSquare, against: MeanSquare, error: MeanSquare,
           counts: tuple[int, int, int], factor: float, part: float) -> float:  # fmt: skip
    units, appraisers, repeats = counts
    over = units * factor * (unit.value - f_ratio(part, unit.freedom, against.freedom) * against.value)
    own = factor * f_ratio(part, unit.freedom, appraiser.freedom) * appraiser.value
    under = units * (repeats - 1) * error.value + own + (units - 1) * against.value
    return over / (appraisers * under) if under > 0 else 0.0
