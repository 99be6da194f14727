"""A crossed gauge study by averages and ranges (AIAG, Measurement Systems Analysis, 4th edition, 2010, chapter III.B).

The constants K are 1/d2*: d2* = √(d2² + d3²/g), the root of the mean square of the mean of g ranges (Patnaik, Biometrika
37, 1950; Duncan, Quality Control and Industrial Statistics, appendix D3), and d2 where there are more than 15 ranges. The
method has no intervals of its own; `anova` has.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from benchrig.study.charts.constants import d2, d3
from benchrig.study.estimate import Unsuitable
from benchrig.study.gauge.components import WIDTH
from benchrig.study.gauge.crossed import Crossed
from benchrig.study.gauge.rating import categories

# With more ranges than this the mean of them is taken for what it estimates.
_MANY = 15


@dataclass(frozen=True)
class RangePart:
    """A standard deviation, as a part of the total one, and six of them as a part of the tolerance."""

    sd: float
    of_total: float | None
    of_tolerance: float | None


@dataclass(frozen=True)
class RangeMethod:
    """Equipment, appraiser, gauge, part and total variation (EV, AV, GRR, PV, TV), and what they are computed from."""

    n: int
    k1: float
    k2: float | None
    k3: float
    appraiser_ranges: tuple[float, ...]
    appraiser_means: tuple[float, ...]
    mean_range: float
    appraiser_difference: float | None
    unit_range: float
    repeatability: RangePart
    reproducibility: RangePart | None
    gauge: RangePart
    unit: RangePart
    total: RangePart
    ndc: int | None
    ndc_exact: float | None


def range_method(data: Crossed, tolerance: float | None = None) -> RangeMethod:
    """`tolerance` is the width between the limits, where there are two."""
    if tolerance is not None and not tolerance > 0:
        raise Unsuitable(f"expected a tolerance above 0, found {tolerance:g}")
    values = np.array(data.values)
    units, appraisers, repeats = values.shape
    ranges, means = np.ptp(values, axis=2).mean(axis=0), values.mean(axis=(0, 2))
    mean_range, unit_range = float(ranges.mean()), float(np.ptp(values.mean(axis=(1, 2))))
    k1, k2, k3 = k(repeats, units * appraisers), k(appraisers, 1) if appraisers > 1 else None, k(units, 1)
    apart = float(np.ptp(means)) if k2 else None
    ev, pv = k1 * mean_range, k3 * unit_range
    av = None if k2 is None or apart is None else math.sqrt(max(0.0, (apart * k2) ** 2 - ev**2 / (units * repeats)))
    gauge = math.hypot(ev, av or 0.0)
    total, exact = math.hypot(gauge, pv), categories(pv, gauge)
    return RangeMethod(
        n=data.n, k1=k1, k2=k2, k3=k3, appraiser_ranges=tuple(map(float, ranges)),
        appraiser_means=tuple(map(float, means)), mean_range=mean_range, appraiser_difference=apart,
        unit_range=unit_range, repeatability=_part(ev, total, tolerance),
        reproducibility=None if av is None else _part(av, total, tolerance), gauge=_part(gauge, total, tolerance),
        unit=_part(pv, total, tolerance), total=_part(total, total, tolerance),
        ndc=None if exact is None else int(exact), ndc_exact=exact,
    )  # fmt: skip


def k(size: int, ranges: int) -> float:
    """What the mean of so many ranges, each of so many values, is multiplied with for a standard deviation."""
    return 1 / (d2(size) if ranges > _MANY else math.sqrt(d2(size) ** 2 + d3(size) ** 2 / ranges))


def _part(sd: float, total: float, tolerance: float | None) -> RangePart:
    return RangePart(sd, sd / total if total else None, None if tolerance is None else WIDTH * sd / tolerance)
