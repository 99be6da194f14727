"""Mean and spread of values, to the last digits that a float has."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from benchrig.study.estimate import Unsuitable, finite


@dataclass(frozen=True)
class Description:
    """`sd` has n - 1 below it, and is 0 for one value; `lag1` is the autocorrelation of neighbours, None where all are
    equal."""

    n: int
    mean: float
    sd: float
    minimum: float
    maximum: float
    distinct: int
    lag1: float | None


def describe(values: ArrayLike) -> Description:
    """Of one value or more."""
    numbers = numbers_of(values)
    mean, deviations = centred(numbers)
    square = float(np.square(deviations).sum())
    sd = math.sqrt(square / (numbers.size - 1)) if numbers.size > 1 else 0.0
    lag1 = float((deviations[:-1] * deviations[1:]).sum()) / square if square else None
    return Description(
        numbers.size, mean, sd, float(numbers.min()), float(numbers.max()), int(np.unique(numbers).size), lag1
    )


def numbers_of(values: ArrayLike) -> NDArray[np.float64]:
    """As an array; Unsuitable where there are none, or some that are not finite."""
    numbers = np.asarray(values, dtype=np.float64)
    if not numbers.size:
        raise Unsuitable("expected 1 value or more, found none")
    finite(numbers)
    return numbers


def centred(numbers: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
    """The mean and what it leaves of each value, which sums to 0: values are counted from the first one, so that an offset
    costs no digits (Chan, Golub and LeVeque, American Statistician 37, 1983)."""
    first = float(numbers[0])
    off = numbers - first
    mean = math.fsum(off) / numbers.size
    return first + mean, off - mean


def mean_ranks(numbers: NDArray[np.float64]) -> NDArray[np.float64]:
    """The rank of each value from 1 on; equal ones share the mean of theirs."""
    _, which, counts = np.unique(numbers, return_inverse=True, return_counts=True)
    last = np.cumsum(counts)
    ranks: NDArray[np.float64] = (last - (counts - 1) / 2)[which]
    return ranks
