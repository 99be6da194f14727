"""What the rounds of a repetition show of all rounds that there could be: limits of a share, a percentile, a mean.

An Estimate says before the run how many rounds it takes, its Evidence after it how far the value may be off. All of it is
for rounds that are independent of one another; what can be seen against that is a `doubt`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Protocol

from benchrig.source.problem import counted
from benchrig.study import mean, proportion, ranks
from benchrig.study.dependence import hits_cluster, worth

# Of fewer values than this no mean is near enough to a normal distribution.
LEAST_FOR_MEAN = 30
_DEPEND = "rounds depend on one another"


class Estimate(Protocol):
    """What is estimated from the rounds. `miss` says of a round that it does not count in favour."""

    miss: ClassVar[str]

    def rounds_needed(self, low: Any, high: Any, confidence: float) -> int | None:
        """The fewest with which a reading could be shown to be from `low` to `high`, None for no such bound; None where no
        number is enough."""
        ...

    def misses_allowed(self, high: Any, rounds: int, confidence: float) -> int | None:
        """Of so many rounds how many may `miss` the upper bound; None where it cannot be said."""
        ...


class Evidence(Protocol):
    """What was seen. `doubt` says why it shows nothing, '' where it does; `verb` ends a sentence about the value."""

    verb: ClassVar[str]

    @property
    def seen(self) -> str: ...
    @property
    def doubt(self) -> str: ...
    def upper(self, confidence: float) -> float | None:
        """The one-sided upper limit in the unit of the reading; None where there is none yet."""
        ...

    def lower(self, confidence: float) -> float | None: ...
    def lacking(self, edge: Any, confidence: float, *, high: bool) -> str:
        """How many it would take to show the edge, as far as that can be said."""
        ...


# --- a share, in %


@dataclass(frozen=True)
class ShareOf:
    """Of the rounds that failed."""

    miss: ClassVar[str] = "to fail"

    def misses_allowed(self, high: Any, rounds: int, confidence: float) -> int | None:
        return proportion.hits_allowed(rounds, high / 100, confidence)

    def rounds_needed(self, low: Any, high: Any, confidence: float) -> int | None:
        sides = [] if high is None else [proportion.trials_needed(high / 100, confidence)]
        sides += [] if low is None else [proportion.trials_needed(1 - low / 100, confidence)]
        return _most(sides)


@dataclass(frozen=True)
class Failures:
    """So many of `rounds`, in so many `runs` of failed rounds in a row."""

    failed: int
    rounds: int
    runs: int
    verb: ClassVar[str] = " fail"

    @property
    def seen(self) -> str:
        return f"{self.failed} of {counted(self.rounds, 'round')} failed"

    @property
    def doubt(self) -> str:
        if hits_cluster(self.failed, self.rounds, self.runs):
            return f"in {counted(self.runs, 'group')}, so the {_DEPEND}"
        return ""

    def upper(self, confidence: float) -> float | None:
        return 100 * proportion.upper(self.failed, self.rounds, confidence)

    def lower(self, confidence: float) -> float | None:
        return 100 * proportion.lower(self.failed, self.rounds, confidence)

    def lacking(self, edge: Any, confidence: float, *, high: bool) -> str:
        if not high or self.failed >= self.rounds * edge / 100:
            return ""
        needed = proportion.trials_needed(edge / 100, confidence, self.failed)
        return f"with {self.failed} failed it takes {needed} rounds"


# --- a percentile


@dataclass(frozen=True)
class PercentileOf:
    """The value that this `part` of all values does not exceed."""

    part: float
    miss: ClassVar[str] = "to be above it"

    def misses_allowed(self, high: Any, rounds: int, confidence: float) -> int | None:
        return proportion.hits_allowed(rounds, 1 - self.part, confidence)

    def rounds_needed(self, low: Any, high: Any, confidence: float) -> int | None:
        sides = [] if high is None else [proportion.trials_needed(1 - self.part, confidence)]
        sides += [] if low is None else [proportion.trials_needed(self.part, confidence)]
        return _most(sides)


@dataclass(frozen=True)
class _Values:
    """So many values, one a round, and so many rounds that gave none."""

    name: str
    text: str
    count: int
    missing: int
    verb: ClassVar[str] = ""

    @property
    def seen(self) -> str:
        gave_none = f", {counted(self.missing, 'round')} gave none" if self.missing else ""
        return f"{self.name} of {counted(self.count, 'value')} is {self.text}{gave_none}"


@dataclass(frozen=True)
class Ranked(_Values):
    """Sorted values: `at(rank, high)` is one of them, from 1, in doubt the higher or the lower one. A round without a value
    counts as worse than all others. `beyond` counts the rounds outside each bound of the limit."""

    part: float
    at: Callable[[int, bool], float]
    beyond: Sequence[Hits] = ()

    @property
    def doubt(self) -> str:
        clustered = [hits for hits in self.beyond if hits.cluster]
        return f"{clustered[0].said}, so the {_DEPEND}" if clustered else ""

    def upper(self, confidence: float) -> float | None:
        rank = ranks.upper_rank(self.count + self.missing, self.part, confidence)
        return None if rank is None or rank > self.count else self.at(rank, True)

    def lower(self, confidence: float) -> float | None:
        rank = (ranks.lower_rank(self.count + self.missing, self.part, confidence) or 0) - self.missing
        return self.at(rank, False) if rank > 0 else None

    def lacking(self, edge: Any, confidence: float, *, high: bool) -> str:
        needed = proportion.trials_needed(1 - self.part if high else self.part, confidence, self.missing)
        return f"it takes {needed} rounds" if needed and needed > self.count + self.missing else ""


# --- a mean


@dataclass(frozen=True)
class MeanOf:
    """Of values that are near a normal distribution."""

    miss: ClassVar[str] = ""

    def misses_allowed(self, high: Any, rounds: int, confidence: float) -> int | None:
        return None

    def rounds_needed(self, low: Any, high: Any, confidence: float) -> int | None:
        return LEAST_FOR_MEAN


@dataclass(frozen=True)
class Averaged(_Values):
    """Values that count as `worth` independent ones."""

    mean: float
    sd: float
    worth: float

    @property
    def doubt(self) -> str:
        if self.missing:
            return "the mean of the others says nothing of these"
        if self.worth < 2 <= self.count:
            return f"each value is near the one before, so the {_DEPEND}"
        if self.count >= LEAST_FOR_MEAN and not self.sd:
            return "all values are equal, so how far they spread is unknown"
        return ""

    def upper(self, confidence: float) -> float | None:
        return None if self._is_short else self.mean + mean.reach(self.worth, self.sd, confidence)

    def lower(self, confidence: float) -> float | None:
        return None if self._is_short else self.mean - mean.reach(self.worth, self.sd, confidence)

    @property
    def _is_short(self) -> bool:
        return self.count < LEAST_FOR_MEAN or self.worth < 2

    def lacking(self, edge: Any, confidence: float, *, high: bool) -> str:
        return f"it takes {LEAST_FOR_MEAN} rounds" if self.count < LEAST_FOR_MEAN else ""


def estimate_of(statistic: str) -> Estimate | None:
    """What a statistic over the rounds is an estimate of; None for one that is none."""
    if statistic == "mean":
        return MeanOf()
    return PercentileOf(float(statistic.removeprefix("p")) / 100) if statistic.startswith("p") else None


class Hits:
    """Rounds that are counted, and how many runs of them in a row there are."""

    def __init__(self) -> None:
        self.rounds = self.hits = self.runs = 0
        self._before = False

    def add(self, *, hit: bool) -> None:
        self.rounds += 1
        self.hits += hit
        self.runs += hit and not self._before
        self._before = hit

    @property
    def cluster(self) -> bool:
        return hits_cluster(self.hits, self.rounds, self.runs)

    @property
    def said(self) -> str:
        return f"{self.hits} are beyond a bound, in {counted(self.runs, 'group')}"


class Neighbours:
    """Looks at values as they come: whether each is nearer to the one before than chance explains."""

    def __init__(self) -> None:
        self._before: float | None = None
        self._squared_steps = 0.0

    def add(self, value: float) -> None:
        if self._before is not None:
            self._squared_steps += (value - self._before) ** 2
        self._before = value

    def worth(self, count: int, sd: float) -> float:
        return worth(count, sd * sd * (count - 1), self._squared_steps)


def _most(sides: list[int | None]) -> int | None:
    return max([each for each in sides if each is not None]) if sides and None not in sides else None
