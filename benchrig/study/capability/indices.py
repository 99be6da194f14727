"""Capability indices. Cp = (U - L) / 6σ; Cpk is the smaller of (U - mean) / 3σ and (mean - L) / 3σ, with the standard
deviation within; Pp and Ppk are the same with the overall one (ISO 22514-2:2017; NIST/SEMATECH e-Handbook 6.1.6).

The interval of Cp is that of χ² (Kane, Journal of Quality Technology 18, 1986), of Cpk the normal one with the variance
1/(9n) + Cpk²/(2ν) (Bissell, Applied Statistics 39, 1990).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchrig.study.capability.spread import Sd
from benchrig.study.distributions import normal, sd_factors
from benchrig.study.estimate import Estimate


@dataclass(frozen=True)
class Indices:
    """`ratio` is Cp or Pp, None with one limit; `lower` and `upper` are those of each limit, `worst` the smaller: Cpk or
    Ppk. All are None where there is no spread."""

    spread: Sd
    ratio: Estimate | None
    lower: Estimate | None
    upper: Estimate | None
    worst: Estimate | None


def indices(n: int, mean: float, spread: Sd, low: float | None, high: float | None, confidence: float) -> Indices:
    sd = spread.sd.value
    if not sd:
        return Indices(spread, None, None, None, None)
    ratio = None if low is None or high is None else _ratio((high - low) / (6 * sd), spread.freedom, confidence)
    lower = None if low is None else one_sided((mean - low) / (3 * sd), n, spread.freedom, confidence)
    upper = None if high is None else one_sided((high - mean) / (3 * sd), n, spread.freedom, confidence)
    there = [each for each in (lower, upper) if each is not None]
    return Indices(spread, ratio, lower, upper, min(there, key=lambda each: each.value, default=None))


def _ratio(value: float, freedom: float, confidence: float) -> Estimate:
    low, high = sd_factors(freedom, confidence)
    return Estimate(value, value / high, value / low)


def one_sided(value: float, n: int, freedom: float, confidence: float) -> Estimate:
    """Of one limit, below 0 where the mean is beyond it."""
    reach = normal((1 + confidence) / 2) * math.sqrt(1 / (9 * n) + value**2 / (2 * freedom))
    return Estimate(value, value - reach, value + reach)
