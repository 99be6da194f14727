"""Global risks of a test: of all units of a process, how many bad ones are accepted and how many good ones rejected.

JCGM 106:2012, clause 9.5: the true values are spread as the process spreads them, a reading about the true value with a
standard uncertainty u.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from benchrig.study.estimate import Unsuitable

# Parts of an integral, and their nodes; beyond this part of a process nothing counts.
_PIECES, _NODES = 24, 24
_NOTHING = 1e-14


class Process(Protocol):
    """A distribution of true values, as scipy's frozen ones are."""

    def pdf(self, x: NDArray[np.float64]) -> NDArray[np.float64]: ...
    def cdf(self, x: float) -> float: ...
    def ppf(self, q: float) -> float: ...


def normal(mean: float, sd: float) -> Process:
    from scipy.stats import norm  # type: ignore[import-untyped]

    process: Process = norm(mean, sd)
    return process


@dataclass(frozen=True)
class Risks:
    """Parts of all units: those that are bad, bad ones that are accepted (the consumer's risk) and good ones that are
    rejected (the producer's)."""

    bad: float
    consumer: float
    producer: float


def global_risks(process: Process, u: float, low: float | None, high: float | None, g: float = 0.0) -> Risks:
    """With each limit drawn in by g."""
    if low is None and high is None:
        raise Unsuitable("expected a limit, found none")
    if low is not None and high is not None and low + g > high - g:
        raise Unsuitable(f"guard bands of {g:g} leave nothing between {low:g} and {high:g}")
    ends = float(process.ppf(_NOTHING)), float(process.ppf(1 - _NOTHING))
    below = 0.0 if low is None else float(process.cdf(low))
    above = 0.0 if high is None else 1 - float(process.cdf(high))
    accept = _Acceptance(process, u, None if low is None else low + g, None if high is None else high - g)
    first, last = (ends[0] if low is None else low), (ends[1] if high is None else high)
    consumer = accept.accepted(min(ends[0], first), first) + accept.accepted(last, max(ends[1], last))
    return Risks(below + above, consumer, accept.rejected(max(first, ends[0]), min(last, ends[1])))


class _Acceptance:
    """How likely a unit with a true value is accepted."""

    def __init__(self, process: Process, u: float, low: float | None, high: float | None) -> None:
        self._process, self._u, self._low, self._high = process, u, low, high

    def accepted(self, first: float, last: float) -> float:
        """The part of all units that has its true value there and is accepted."""
        x, weights = self._nodes(first, last)
        return float(weights @ (self._process.pdf(x) * self._inside(x)))

    def rejected(self, first: float, last: float) -> float:
        x, weights = self._nodes(first, last)
        return float(
            weights @ (self._process.pdf(x) * (self._beyond(x, self._low, -1) + self._beyond(x, self._high, 1)))
        )

    def _inside(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        from scipy.special import ndtr  # type: ignore[import-untyped]

        if self._low is None:
            return self._beyond(x, self._high, -1)
        if self._high is None:
            return self._beyond(x, self._low, 1)
        # mirrored, where both are above: the difference of two small numbers, not of two near 1
        near, far = (x - self._high) / self._u, (x - self._low) / self._u
        mirrored = near + far > 0
        chance: NDArray[np.float64] = np.where(mirrored, ndtr(-near) - ndtr(-far), ndtr(far) - ndtr(near))
        return chance

    def _beyond(self, x: NDArray[np.float64], limit: float | None, side: int) -> NDArray[np.float64]:
        from scipy.special import ndtr

        return np.zeros_like(x) if limit is None else ndtr(side * (x - limit) / self._u)

    def _nodes(self, first: float, last: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Gauss and Legendre in pieces that are fine about both limits, where acceptance changes within u."""
        if last <= first:
            return np.zeros(0), np.zeros(0)
        near = [
            limit + step * self._u / 2
            for limit in (self._low, self._high)
            if limit is not None
            for step in range(-16, 17)
        ]
        cuts = np.unique(np.clip([*np.linspace(first, last, _PIECES), *near], first, last))
        nodes, weights = np.polynomial.legendre.leggauss(_NODES)
        half = np.diff(cuts) / 2
        return (cuts[:-1, None] + half[:, None] * (nodes + 1)).ravel(), (half[:, None] * weights).ravel()


def guard_for_consumer_risk(process: Process, u: float, low: float | None, high: float | None, risk: float) -> float:
    """The guard band with which bad units are accepted no more often than this; 0 where none is needed."""
    if not risk > 0:
        raise ValueError(f"expected a risk above 0, found {risk:g}")
    widest = math.inf if low is None or high is None else (high - low) / 2

    def reached(g: float) -> bool:
        return global_risks(process, u, low, high, g).consumer <= risk

    if reached(0.0):
        return 0.0
    least, most = 0.0, min(u, widest)
    while not reached(most):
        least, most = most, min(most * 2, widest)
    while least < (middle := (least + most) / 2) < most:
        least, most = (least, middle) if reached(middle) else (middle, most)
    return most
