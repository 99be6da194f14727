"""All figures of a reading's capability, of values that were measured in this order against the same limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from numpy.typing import ArrayLike

from benchrig.study.capability.doubts import Doubt, doubts
from benchrig.study.capability.indices import Indices, indices
from benchrig.study.capability.outside import Outside, outside
from benchrig.study.capability.percentiles import Percentiles, by_percentiles
from benchrig.study.capability.spread import by_moving_range, overall, pooled
from benchrig.study.describe import describe
from benchrig.study.distributions import student
from benchrig.study.estimate import Estimate, Unsuitable


@dataclass(frozen=True)
class Capability:
    """`within` has Cp and Cpk, `overall` Pp and Ppk; `percentiles` is None where there are too few values, which
    `no_percentiles` says."""

    n: int
    confidence: float
    low: float | None
    high: float | None
    mean: Estimate
    minimum: float
    maximum: float
    within: Indices
    overall: Indices
    outside: Outside
    percentiles: Percentiles | None
    no_percentiles: str | None
    doubts: tuple[Doubt, ...]


def capability(values: ArrayLike, low: float | None, high: float | None, subgroups: Sequence[ArrayLike] | None = None,
               confidence: float = 0.95, failed: ArrayLike | None = None) -> Capability:  # fmt: skip
    """With `subgroups`, the same values in groups, the standard deviation within is pooled over them; else it is that of
    neighbours. `failed` says of each value whether it is outside where it is on a limit."""
    if low is None and high is None:
        raise Unsuitable("expected a limit with a number, found none")
    if low is not None and high is not None and not low < high:
        raise Unsuitable(f"expected limits with a width, found from {low:g} to {high:g}")
    seen = describe(values)
    within = by_moving_range(values, confidence) if subgroups is None else pooled(subgroups, confidence)
    whole = indices(seen.n, seen.mean, overall(values, confidence), low, high, confidence)
    reach = student((1 + confidence) / 2, seen.n - 1) * seen.sd / seen.n**0.5
    percentiles, without = _percentiles(values, low, high, confidence)
    return Capability(
        seen.n, confidence, low, high, Estimate(seen.mean, seen.mean - reach, seen.mean + reach), seen.minimum,
        seen.maximum, indices(seen.n, seen.mean, within, low, high, confidence), whole,
        outside(values, low, high, whole, confidence, failed), percentiles, without, doubts(values, within.sd.value),
    )  # fmt: skip


def _percentiles(values: ArrayLike, low: float | None, high: float | None, confidence: float) -> tuple[Percentiles | None, str | None]:  # fmt: skip
    try:
        return by_percentiles(values, low, high, confidence), None
    except Unsuitable as error:
        return None, str(error)
