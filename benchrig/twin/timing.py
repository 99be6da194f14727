"""Times of arrival -> the period at which a device sends, and how far it strays from that."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from benchrig.draft.evidence import StreamSeen
from benchrig.source.problem import counted
from benchrig.twin.values import deviation
from benchrig.values.quantity import number_text

# Steps of a connection interval, the shortest and the longest (Core Vol 6 Part B 4.5.1), in seconds.
_STEP, _SHORTEST, _LONGEST = 0.00125, 0.0075, 0.1
_CLOSE = 0.0004
# Clocks of devices differ by less.
_CLOCKS = 1e-4
# A value comes up to `jitter` late, each as likely: a gap between two has this share of it as its deviation.
_OF_JITTER = math.sqrt(6)


@dataclass(frozen=True)
class Pace:
    """Seconds; `grid` is the interval of connection events that the arrivals show, 0 for none."""

    period: float
    jitter: float
    grid: float
    says: str


def pace_of(streams: Sequence[StreamSeen], count: Callable[[Sequence[bytes]], list[int] | None]) -> Pace | None:
    """None where no gap was seen. The stream with the most gaps shows the most; `count` tells the numbers of its values."""
    told = [stream for stream in streams if stream.gaps is not None and stream.gaps.count]
    if not told:
        return None
    best = max(told, key=lambda stream: stream.gaps.count if stream.gaps else 0)
    if len(best.times) < 2:
        return _summed(best)
    numbers = count(best.values) or [*range(len(best.times))]
    # a gap over a missing value is none
    beside = [
        later - earlier
        for (earlier, later), (one, other) in zip(pairwise(best.times), pairwise(numbers), strict=True)
        if other - one == 1
    ]
    whole = (best.times[-1] - best.times[0]) / max(1, numbers[-1])
    pace = _measured(beside or [whole])
    loose = max(_CLOCKS * whole, max(abs(gap - whole) for gap in beside or [whole]) / max(1, numbers[-1]))
    return replace(pace, period=roundest(whole, loose))


@dataclass(frozen=True)
class Losses:
    """Values that counters show to be missing, and of how many; `every` where each so manieth is missing, and no other."""

    missing: int
    count: int
    every: int | None


def losses_of(streams: Sequence[StreamSeen], count: Callable[[Sequence[bytes]], list[int] | None]) -> Losses:
    rows = [numbers for stream in streams if len(stream.values) > 1 and (numbers := count(stream.values))]
    missing = [[number for number in range(row[-1]) if number not in set(row)] for row in rows]
    told = [stream for stream in streams if not stream.values]
    lost, seen = sum(stream.lost for stream in told), sum(stream.count + stream.lost for stream in told)
    first = min((row[0] for row in missing if row), default=None)
    total = sum(map(len, missing))
    regular = (
        first is not None
        and total > 1
        and all(gone == [*range(first, row[-1], first + 1)] for gone, row in zip(missing, rows, strict=True))
    )
    every = first + 1 if regular and first is not None else None
    return Losses(total + lost, sum(row[-1] + 1 for row in rows) + seen, every)


def _measured(gaps: Sequence[float]) -> Pace:
    mean, sd = deviation(gaps)
    grid = _grid(gaps)
    jitter = _OF_JITTER * math.sqrt(max(0.0, sd**2 - _of_grid(mean, grid)))
    loose = max(_CLOCKS * mean, max(abs(gap - mean) for gap in gaps) / len(gaps))
    seen = f"{counted(len(gaps), 'gap')}, mean {_ms(mean)}, sd {_ms(sd)}, {_ms(min(gaps))} to {_ms(max(gaps))}"
    hidden = f"; connection events every {_ms(grid)} hide what is finer" if grid else ""
    return Pace(roundest(mean, loose), roundest(jitter, jitter / 10), grid, seen + hidden)


def _summed(stream: StreamSeen) -> Pace:
    """Of a record, which keeps the rate and the longest gap."""
    assert stream.gaps is not None
    mean, longest = stream.gaps.mean, stream.gaps.maximum
    seen = f"{counted(stream.gaps.count, 'gap')}, mean {_ms(mean)}, longest {_ms(longest)}"
    return Pace(roundest(mean, mean / 500), 0.0, 0.0, f"{seen}; a record keeps no more, so no jitter is told")


def _grid(gaps: Sequence[float]) -> float:
    """The longest interval that all gaps are multiples of; 0 for none, or where they are all alike."""
    if max(gaps) - min(gaps) < _SHORTEST / 2:
        return 0.0
    for steps in range(round(_LONGEST / _STEP), round(_SHORTEST / _STEP) - 1, -1):
        interval = steps * _STEP
        if all(abs(gap - round(gap / interval) * interval) < _CLOSE for gap in gaps):
            return interval
    return 0.0


def _of_grid(mean: float, grid: float) -> float:
    """The variance that waiting for the next event alone makes of gaps that are all alike: each is the whole number of
    intervals below it, or one more."""
    share = mean / grid % 1 if grid else 0.0
    return grid**2 * share * (1 - share)


def roundest(number: float, loose: float) -> float:
    """The number with the fewest digits that is no further away than that."""
    if number <= 0:
        return 0.0
    for digits in range(1, 6):
        made = float(f"{number:.{digits}g}")
        if abs(made - number) <= loose:
            return made
    return round(number, 6)


def _ms(seconds: float) -> str:
    return f"{number_text(round(1000 * seconds, 2))} ms" if seconds < 1 else f"{number_text(round(seconds, 3))} s"
