"""What speaks against a capability figure: each doubt with its test and p where it has one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchrig.study.capability.differences import kruskal_wallis
from benchrig.study.capability.normality import anderson_darling
from benchrig.study.describe import centred, mean_ranks, numbers_of

About: TypeAlias = Literal["few values", "repeated units", "not normal", "drift", "groups differ", "too coarse"]

# Fewer values say little (ISO 22514-2 asks for 50 and more; with 30 a Cpk of 1.33 may be 0.97).
FEW = 30
# Values that give no reason are doubted so often, by each test.
DOUBT = 0.01
# Fewer distinct values than this make no spread.
_DISTINCT = 5
# Steps below this part of the values are what floats leave.
_NOISE = 1e-9


@dataclass(frozen=True)
class Doubt:
    about: About
    says: str
    test: str | None = None
    p: float | None = None


def doubts(values: ArrayLike, within: float) -> tuple[Doubt, ...]:
    """Of values in the order in which they were measured; `within` is their standard deviation within."""
    numbers = numbers_of(values)
    return tuple(each for part in (_few, _normal, _drift) for each in part(numbers)) + tuple(_coarse(numbers, within))


def _few(numbers: NDArray[np.float64]) -> Iterator[Doubt]:
    if numbers.size < FEW:
        yield Doubt("few values", f"expected {FEW} values or more, found {numbers.size}: the intervals are wide")


def repeated(units: Sequence[str]) -> Iterator[Doubt]:
    """Of values of these units, '' where a unit is not known: values of one unit are no sample of the process."""
    known = [unit for unit in units if unit]
    distinct = len(set(known))
    if distinct == 1 and len(known) > 1:
        yield Doubt(
            "repeated units",
            f"all {len(known)} values are of one unit: this is the spread of the station, not of the process",
        )
    elif distinct < len(known):
        says = f"found {len(known)} values of {distinct} units: the intervals hold for one value of each unit"
        yield Doubt("repeated units", says)
    if unknown := len(units) - len(known):
        says = f"the unit of {unknown} of {len(units)} values is unknown: repeats of one unit are not seen"
        yield Doubt("repeated units", says)


def apart(values: ArrayLike, groups: ArrayLike, what: str) -> Iterator[Doubt]:
    """Whether values differ between groups, as 'stations': the name, or the number, of the group of each."""
    numbers, (names, which) = numbers_of(values), np.unique(np.asarray(groups), return_inverse=True)
    found = kruskal_wallis([numbers[which == at] for at in range(len(names))]) if len(names) > 1 else None
    if found and found[1] < DOUBT:
        yield Doubt(
            "groups differ",
            f"{what} differ: one figure over them describes none",
            f"Kruskal-Wallis, H {found[0]:.3g}",
            found[1],
        )


def _normal(numbers: NDArray[np.float64]) -> Iterator[Doubt]:
    found = anderson_darling(numbers)
    if found and found[1] < DOUBT:
        says = "values are not normal: the parts that a normal distribution has beyond the limits do not hold"
        yield Doubt("not normal", says, f"Anderson-Darling, A² {found[0]:.3g}", found[1])


def _drift(numbers: NDArray[np.float64]) -> Iterator[Doubt]:
    """A trend over all values; neighbours that are more alike than chance explains, as after a shift."""
    trend, neighbours = spearman(numbers), von_neumann(numbers)
    if trend and trend[1] < DOUBT:
        way = "rise" if trend[0] > 0 else "fall"
        yield Doubt("drift", f"values {way} with time: the process drifts", f"Spearman, ρ {trend[0]:.3g}", trend[1])
    if neighbours and neighbours[1] < DOUBT:
        says = "neighbouring values are alike: the process drifts or shifts"
        yield Doubt("drift", says, f"von Neumann, ratio {neighbours[0]:.3g}", neighbours[1])


def spearman(numbers: NDArray[np.float64]) -> tuple[float, float] | None:
    """The rank correlation with time, and its p (Spearman, 1904; Student's t with n - 2 degrees of freedom). None for
    fewer than 10 values, or equal ones."""
    from scipy.special import stdtr  # type: ignore[import-untyped]

    count = numbers.size
    if count < 10 or numbers.min() == numbers.max():
        return None
    ranks, times = mean_ranks(numbers) - (count + 1) / 2, np.arange(count) - (count - 1) / 2
    rho = float((ranks * times).sum() / math.sqrt(np.square(ranks).sum() * np.square(times).sum()))
    if abs(rho) >= 1 - 1e-15:
        return math.copysign(1.0, rho), 0.0
    return rho, 2 * float(stdtr(count - 2, -abs(rho) * math.sqrt((count - 2) / (1 - rho**2))))


def von_neumann(numbers: NDArray[np.float64]) -> tuple[float, float] | None:
    """The mean square of the steps by the variance, 2 for independent values, and how seldom it is so small: normal with
    variance 4 (n - 2) / (n² - 1) (von Neumann, Annals of Mathematical Statistics 12, 1941)."""
    count, off = numbers.size, centred(numbers)[1]
    square = float(np.square(off).sum())
    if count < 10 or not square:
        return None
    found = float(np.square(np.diff(off)).sum()) / square
    z = (2 - found) / math.sqrt(4 * (count - 2) / (count**2 - 1))
    return found, 0.5 * math.erfc(z / math.sqrt(2))


def _coarse(numbers: NDArray[np.float64], within: float) -> Iterator[Doubt]:
    """Values that repeat: fewer than 5 distinct ones, or steps above the standard deviation within (Wheeler and Lyday,
    Evaluating the Measurement Process, 2nd edition, 1989)."""
    steps = np.diff(np.unique(numbers))
    steps = steps[steps > _NOISE * max(abs(float(numbers[0])), float(np.ptp(numbers)))]
    distinct = steps.size + 1
    if distinct == 1:
        yield Doubt("too coarse", "all values are equal: the resolution is too coarse to show any spread")
    elif numbers.size < 2 * distinct:
        return
    elif distinct < _DISTINCT:
        yield Doubt("too coarse", f"found {distinct} distinct values: the resolution is too coarse")
    elif steps.min() > within:
        says = f"smallest step between values is {steps.min():.4g}, above the standard deviation within"
        yield Doubt("too coarse", f"{says}: the resolution is too coarse")
