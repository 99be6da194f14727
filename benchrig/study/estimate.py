"""What a figure is: its value, and where the truth behind it is with a stated confidence."""

from __future__ import annotations

import math
from dataclasses import dataclass


class Unsuitable(ValueError):
    """The data do not allow the figure. The text is a sentence for people."""


@dataclass(frozen=True)
class Estimate:
    """A value with the ends of its two-sided interval; None where the method has none."""

    value: float
    low: float | None = None
    high: float | None = None

    def scaled(self, by: float) -> Estimate:
        """In another measure; `by` is above 0."""
        return Estimate(self.value * by, _times(self.low, by), _times(self.high, by))

    def root(self) -> Estimate:
        """A standard deviation from a variance; what is below 0 counts as 0."""
        return Estimate(_root(self.value), *(None if end is None else _root(end) for end in (self.low, self.high)))


def _times(value: float | None, by: float) -> float | None:
    return None if value is None else value * by


def _root(value: float) -> float:
    return math.sqrt(max(0.0, value))


def finite(values: object, what: str = "values") -> None:
    """All of an array are numbers; Unsuitable says how many are not."""
    import numpy as np

    odd = int(np.count_nonzero(~np.isfinite(np.asarray(values, dtype=float))))
    if odd:
        raise Unsuitable(f"expected finite {what}, found {odd} that are not a number or infinite")
