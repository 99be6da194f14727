"""Statistics of streams in constant memory."""

from __future__ import annotations

import math
from collections import Counter

# So many different values a percentile is exact for; of more it is right to 1 %.
_EXACT = 1000
# Bucket edges grow by this factor, so a percentile is right to within half of it (1 %).
_GROWTH = math.log(1.02)
_SMALLEST = 1e-9
# So many numbers that count up behind the highest one are more than a repetition.
_COUNTS_ON = 3


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
        # two of the largest floats differ by more than a float holds
        self.mean += delta / self.count if math.isfinite(delta) else value / self.count - self.mean / self.count
        self._m2 += delta * (value - self.mean)
        if value < self.minimum:
            self.minimum = value
        if value > self.maximum:
            self.maximum = value

    @property
    def sd(self) -> float | None:
        """Sample standard deviation (n − 1); None with fewer than two values, or beyond all floats."""
        return math.sqrt(self._m2 / (self.count - 1)) if self.count > 1 and math.isfinite(self._m2) else None


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


class Percentiles:
    """Percentiles of numbers: exact while there are few different ones, then from logarithmic buckets."""

    def __init__(self) -> None:
        self.count = 0
        self._counts: Counter[float] = Counter()
        self._rough = False

    def add(self, value: float) -> None:
        self.count += 1
        self._counts[_middle(value) if self._rough else value] += 1
        if not self._rough and len(self._counts) > _EXACT:
            self._rough = True
            self._counts = _in_buckets(self._counts)

    def percentile(self, percent: float) -> float | None:
        """The value that `percent` of the numbers do not exceed (nearest rank); None without numbers."""
        rank, seen = math.ceil(self.count * percent / 100), 0
        for value in sorted(self._counts):
            seen += self._counts[value]
            if seen >= rank:
                return value
        return None

    def at(self, rank: int, high: bool) -> float:
        """The sorted number with this rank, from 1; of its bucket the higher or the lower edge."""
        seen = 0
        for value in sorted(self._counts):
            seen += self._counts[value]
            if seen >= rank:
                break
        half = abs(value) * math.expm1(_GROWTH / 2) + _SMALLEST if self._rough else 0.0
        return value + half if high else value - half


def _in_buckets(counts: Counter[float]) -> Counter[float]:
    rough: Counter[float] = Counter()
    for value, count in counts.items():
        rough[_middle(value)] += count
    return rough


def _middle(value: float) -> float:
    """That of the bucket which the number is in."""
    size = abs(value)
    if size <= _SMALLEST:
        return 0.0
    middle = _SMALLEST * math.exp((int(math.log(size / _SMALLEST) / _GROWTH) + 0.5) * _GROWTH)
    return math.copysign(middle, value)


class Arrivals:
    """When the values of a stream came and how many bytes they had. The silence up to `end` counts: a stream that
    stops has a gap there, and no rate that it did not keep up."""

    def __init__(self) -> None:
        self.count = 0
        self.first = self.last = self._end = 0.0
        self._bytes = self._first_bytes = 0
        self._gaps = Gaps()

    def add(self, at: float, size: int) -> None:
        if self.count:
            self._gaps.add(at - self.last)
        else:
            self.first, self._first_bytes = at, size
        self.last = self._end = at
        self.count += 1
        self._bytes += size

    def end(self, at: float) -> None:
        """Nothing is listened to from here on."""
        self._end = max(at, self.last)
        silence = self._end - self.last
        if self._gaps.maximum is not None and silence > self._gaps.maximum:
            self._gaps.add(silence)

    @property
    def window(self) -> tuple[float, float, int]:
        """From the first value to the end, and how many came."""
        return self.first, self._end, self.count

    @property
    def rate(self) -> float | None:
        """Values per second; None with fewer than two."""
        return self._pace(self.count - 1, self.count)

    @property
    def bit_rate(self) -> float | None:
        """Bits per second; None with fewer than two values."""
        return self._pace(8 * (self._bytes - self._first_bytes), 8 * self._bytes)

    @property
    def gap_max(self) -> float | None:
        """The longest time without a value after the first; None with fewer than two."""
        return self._gaps.maximum

    def gap_percentile(self, percent: float) -> float | None:
        return self._gaps.percentile(percent)

    def _pace(self, after_first: int, all_: int) -> float | None:
        """From the first to the last value; over the whole time where the silence at the end makes that slower."""
        if self.count < 2:
            return None
        spans = ((after_first, self.last - self.first), (all_, self._end - self.first))
        return min((amount / span for amount, span in spans if span > 0), default=None)


class Sequence:
    """Whole numbers that should count up by one, wrapping at `modulo`: what is missing, what came again.

    A step forward of at most half the range is a loss, anything else a repetition: a counter that wraps can tell no
    more. Where it goes back and counts on there it was set anew, or more than that was lost: `went_back`.
    """

    def __init__(self, modulo: int) -> None:
        self.count = 0
        self.went_back = False
        self._lost = 0
        self._duplicated = 0
        self._modulo = modulo
        self._last = 0
        self._behind = 0
        self._row = 0

    def add(self, value: int) -> None:
        step = (value - self._last) % self._modulo
        self.count += 1
        if self.count == 1:
            self._last = value
        elif 0 < step <= self._modulo // 2:
            self._lost += step - 1
            self._last, self._row = value, 0
        else:
            self._repeat(value)

    def _repeat(self, value: int) -> None:
        self._duplicated += 1
        counts_on = self._row > 0 and (value - self._behind) % self._modulo == 1
        self._behind, self._row = value, self._row + 1 if counts_on else 1
        self.went_back = self.went_back or self._row >= _COUNTS_ON

    @property
    def lost(self) -> int | None:
        """How many are missing; None where nothing was counted, or where the counter went back."""
        return self._lost if self.count > 1 and not self.went_back else None

    @property
    def duplicated(self) -> int | None:
        """How many came again; None where nothing was counted."""
        return self._duplicated if self.count > 1 else None
