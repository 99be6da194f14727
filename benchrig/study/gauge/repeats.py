"""The short form of a gauge study: one unit, measured again and again by one station.

Cg and Cgk with 20 % of the tolerance and six standard deviations (VDA volume 5, 2nd edition, 2010; the type 1 study of
ISO 22514-7:2021 has the same ratios). The interval of a standard deviation is that of χ², of Cgk Bissell's, Applied Statistics 39
(1990): Cgk is formed as Cpk is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchrig.study.describe import describe
from benchrig.study.distributions import normal, sd_factors, student
from benchrig.study.estimate import Estimate, Unsuitable
from benchrig.study.gauge.components import WIDTH
from benchrig.study.gauge.sizes import FEW

# The part of the tolerance that the station may use up.
PART = 0.2
# A resolution above this part of the tolerance is too coarse.
RESOLUTION = 0.05


@dataclass(frozen=True)
class Repeats:
    """`of_tolerance` is six standard deviations by the tolerance; Cgk and bias need a reference value."""

    n: int
    confidence: float
    tolerance: float | None
    reference: float | None
    mean: Estimate
    sd: Estimate
    of_tolerance: Estimate | None
    cg: Estimate | None
    cgk: Estimate | None
    bias: Estimate | None
    distinct: int
    notes: tuple[str, ...]


def repeats(values: Sequence[float], tolerance: float | None = None, reference: float | None = None,
            confidence: float = 0.95) -> Repeats:  # fmt: skip
    """`tolerance` is the width between the limits, where there are two."""
    if len(values) < 2:
        raise Unsuitable(f"expected 2 repeats or more, found {len(values)}")
    if tolerance is not None and not tolerance > 0:
        raise Unsuitable(f"expected a tolerance above 0, found {tolerance:g}")
    seen = describe(values)
    low, high = sd_factors(seen.n - 1, confidence)
    sd = Estimate(seen.sd, seen.sd * low, seen.sd * high)
    reach = student((1 + confidence) / 2, seen.n - 1) * seen.sd / seen.n**0.5
    mean = Estimate(seen.mean, seen.mean - reach, seen.mean + reach)
    off = None if reference is None else seen.mean - reference
    bias = None if off is None else Estimate(off, off - reach, off + reach)
    wide = None if tolerance is None else sd.scaled(WIDTH / tolerance)
    return Repeats(
        seen.n, confidence, tolerance, reference, mean, sd, wide, _cg(tolerance, sd), _cgk(tolerance, off, sd, seen.n, confidence),
        bias, seen.distinct, tuple(_notes(values, tolerance, bias)),
    )  # fmt: skip


def _cg(tolerance: float | None, sd: Estimate) -> Estimate | None:
    if tolerance is None or not sd.value or not sd.low or not sd.high:
        return None
    return Estimate(*(PART * tolerance / (WIDTH * each) for each in (sd.value, sd.high, sd.low)))


def _cgk(tolerance: float | None, off: float | None, sd: Estimate, n: int, confidence: float) -> Estimate | None:
    if tolerance is None or off is None or not sd.value:
        return None
    value = (PART / 2 * tolerance - abs(off)) / (WIDTH / 2 * sd.value)
    reach = normal((1 + confidence) / 2) * (1 / (9 * n) + value**2 / (2 * (n - 1))) ** 0.5
    return Estimate(value, value - reach, value + reach)


def _notes(values: Sequence[float], tolerance: float | None, bias: Estimate | None) -> list[str]:
    notes = []
    if len(values) < FEW:
        notes.append(f"expected {FEW} repeats or more, found {len(values)}: the intervals are wide")
    steps = np.diff(np.unique(np.asarray(values, dtype=float)))
    if not steps.size:
        notes.append("all values are equal: the resolution is too coarse to show the station's spread")
    elif tolerance is not None and steps.min() > RESOLUTION * tolerance:
        notes.append(
            f"smallest step between values is {steps.min():g}, above 5 % of the tolerance: the resolution is too coarse"
        )
    if bias is not None and bias.low is not None and bias.high is not None and not bias.low <= 0 <= bias.high:
        notes.append(f"bias of {bias.value:g} is not explained by the spread of the values")
    return notes
