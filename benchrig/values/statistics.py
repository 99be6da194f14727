"""Statistics of streams in constant memory."""

from __future__ import annotations

import math
from collections import Counter

# Bucket edges grow by this factor, so a percentile is right to within half of it (1 %).
_GROWTH = math.log(1.02)
_SMALLEST = 1e-9


class Moments:
    """Count, extremes, mean and standard deviation of numbers (Welford's method: no cancellation)."""

    __slots__ = ("_m2", "count", "maximum", "mean", "minimum")

    def __init__(self) -> None:
        self.count = 0
        self.minimum = math.inf
        self.maximum = -math.inf
        self.mean = 0.0
        self._m2 = 0.0

    def add(self, value: float) -> None:
        self.count += 1
        delta = value - self.mean
        self.mean += delta / self.count
        self._m2 += delta * (value - self.mean)
        if value < self.minimum:
            self.minimum = value
        if value > self.maximum:
            self.maximum = value

    @property
    def sd(self) -> float | None:
        """Sample standard deviation (n − 1); None with fewer than two values."""
        return math.sqrt(self._m2 / (self.count - 1)) if self.count > 1 else None


class Gaps:
    """Times between events: the longest, and percentiles from a histogram with logarithmic buckets."""

    def __init__(self) -> None:
        self.count = 0
        self.maximum: float | None = None
        self._buckets: Counter[int] = Counter()

    def add(self, gap: float) -> None:
        self.count += 1
        if self.maximum is None or gap > self.maximum:
            self.maximum = gap
        self._buckets[int(math.log(gap / _SMALLEST) / _GROWTH) if gap > _SMALLEST else 0] += 1

    def percentile(self, percent: float) -> float | None:
        """The value that `percent` of the gaps do not exceed (nearest rank), to 1 %; None without gaps."""
        if not self.count or self.maximum is None:
            return None
        rank = math.ceil(self.count * percent / 100)
        seen = 0
        for bucket in sorted(self._buckets):
            seen += self._buckets[bucket]
            if seen >= rank:
                return min(self.maximum, _SMALLEST * math.exp((bucket + 0.5) * _GROWTH))
        return self.maximum


class Sequence:
    """Values that should count up by one, wrapping at `modulo`: what is missing, what came again.

    A step forward of less than half the range is a loss, anything else a repetition.
    """

    def __init__(self, modulo: int | None) -> None:
        self.lost = 0
        self.duplicated = 0
        self._modulo = modulo
        self._last: int | None = None

    def add(self, value: int) -> None:
        if self._last is None:
            self._last = value
            return
        step = value - self._last if self._modulo is None else (value - self._last) % self._modulo
        forward = step > 0 and (self._modulo is None or step < self._modulo / 2)
        if forward:
            self.lost += step - 1
            self._last = value
        else:
            self.duplicated += 1
