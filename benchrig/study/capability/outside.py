"""The part of the values beyond the limits: as it was counted, and as a normal distribution has it."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from benchrig.study import proportion
from benchrig.study.capability.indices import Indices, one_sided
from benchrig.study.describe import numbers_of
from benchrig.study.estimate import Estimate

_beyond = NormalDist().cdf


@dataclass(frozen=True)
class Outside:
    """`observed` has the exact interval of Clopper and Pearson (1934); `fitted` is of the overall standard deviation, None
    where there is no spread."""

    below: int
    above: int
    observed: Estimate
    fitted: Estimate | None


def outside(values: ArrayLike, low: float | None, high: float | None, overall: Indices, confidence: float,
            failed: ArrayLike | None = None) -> Outside:  # fmt: skip
    """A value on a limit is inside, unless `failed` says of it that it is not, as on that of 'above' or 'below'."""
    numbers = numbers_of(values)
    out = np.zeros(numbers.size, np.bool_) if failed is None else np.asarray(failed, np.bool_)
    below = 0 if low is None else int(((numbers < low) | (out & (numbers == low))).sum())
    above = 0 if high is None else int(((numbers > high) | (out & (numbers == high))).sum())
    share = Estimate((below + above) / numbers.size, *proportion.interval(below + above, numbers.size, confidence))
    return Outside(below, above, share, _fitted(overall, numbers.size, confidence))


def _fitted(overall: Indices, n: int, confidence: float) -> Estimate | None:
    """Φ(-3 Ppk) for each limit, with the ends of that index; of two limits each has half of the risk (Bonferroni)."""
    sides = [each for each in (overall.lower, overall.upper) if each is not None]
    if not sides:
        return None
    each_side = 1 - (1 - confidence) / len(sides)
    ends = [one_sided(side.value, n, overall.spread.freedom, each_side) for side in sides]
    low, high = (
        sum(_beyond(-3 * (end or 0.0)) for end in one) for one in zip(*((e.high, e.low) for e in ends), strict=True)
    )
    return Estimate(sum(_beyond(-3 * side.value) for side in sides), low, min(1.0, high))
