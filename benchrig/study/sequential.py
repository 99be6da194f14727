"""Wald's sequential probability ratio test of a share: trials until it is decided (Wald, Sequential Analysis, 1947)."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Literal, TypeAlias

Decision: TypeAlias = Literal["accepted", "rejected", "undecided"]
# Walks that are still undecided count for nothing below this chance.
_NOTHING = 1e-13


@dataclass(frozen=True)
class Sequential:
    """A share of failures of at most `acceptable` is to be accepted, one of at least `rejectable` to be rejected.

    Accepted when the likelihood ratio of the second to the first is e^`low` or less, rejected when it is e^`high` or more.
    """

    acceptable: float
    rejectable: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not (0 < self.acceptable < self.rejectable < 1 and self.low < 0 < self.high):
            raise ValueError("expected 0 < acceptable < rejectable < 1, and risks whose sum is below 1")

    @classmethod
    def wald(cls, acceptable: float, rejectable: float, producer: float, consumer: float) -> Sequential:
        """Wald's bounds ln(β/(1-α)) and ln((1-β)/α): the risks are met about, the sum of both never exceeded."""
        return cls(acceptable, rejectable, math.log(consumer / (1 - producer)), math.log((1 - consumer) / producer))

    @classmethod
    def strict(cls, acceptable: float, rejectable: float, producer: float, consumer: float) -> Sequential:
        """Bounds ln β and ln(1/α), a little wider: neither risk is ever exceeded, however long it takes (Ville, 1939)."""
        return cls(acceptable, rejectable, math.log(consumer), -math.log(producer))

    @property
    def per_failure(self) -> float:
        """What a failure adds to the logarithm of the likelihood ratio: ln(p1/p0)."""
        return math.log(self.rejectable / self.acceptable)

    @property
    def per_pass(self) -> float:
        """What a pass adds: ln((1-p1)/(1-p0)), below 0."""
        return math.log1p(-self.rejectable) - math.log1p(-self.acceptable)

    def ratio(self, trials: int, failures: int) -> float:
        """The logarithm of the likelihood ratio. It depends on the numbers alone, not on their order."""
        return failures * self.per_failure + (trials - failures) * self.per_pass

    def decision(self, trials: int, failures: int) -> Decision:
        ratio = self.ratio(trials, failures)
        return "accepted" if ratio <= self.low else "rejected" if ratio >= self.high else "undecided"

    @property
    def lines(self) -> tuple[float, float, float]:
        """(s, h0, h1): accepted at s·n - h0 failures or fewer, rejected at s·n + h1 or more."""
        width = self.per_failure - self.per_pass
        return -self.per_pass / width, -self.low / width, self.high / width

    def accepts_at(self, trials: int) -> int | None:
        """The most failures with which so many trials accept; None where not even 0 do."""
        most = math.floor((self.low - trials * self.per_pass) / (self.per_failure - self.per_pass) + 1e-12)
        return most if most >= 0 else None

    def rejects_at(self, trials: int) -> int | None:
        """The fewest failures with which so many trials reject; None where not even all do."""
        least = math.ceil((self.high - trials * self.per_pass) / (self.per_failure - self.per_pass) - 1e-12)
        return least if least <= trials else None

    def mean_trials(self, share: float) -> float:
        """Wald's approximation of the mean number of trials at acceptable, rejectable or the slope between them, where the
        bounds are Wald's: what goes beyond a bound is left out, so it is a little too small."""
        drift = share * self.per_failure + (1 - share) * self.per_pass
        if abs(drift) < 1e-9:
            return -self.low * self.high / -(self.per_failure * self.per_pass)
        reject = (1 - math.exp(self.low)) / (math.exp(self.high) - math.exp(self.low))
        accept = 1 - reject if share <= self.acceptable else 1 - reject * math.exp(self.high)
        return (accept * self.low + (1 - accept) * self.high) / drift


@dataclass(frozen=True)
class Course:
    """What becomes of a test by so many trials: chances, and the mean number of trials up to there."""

    trials: int
    accepted: float
    rejected: float
    undecided: float
    mean_trials: float


def courses(test: Sequential, share: float) -> Iterator[Course]:
    """After each trial, for units that fail with this chance: exact, trial by trial (dynamic programme). Ends when the
    chance of going on has vanished."""
    # of the walks that go on, by their failures from `fewest` on; those at the ends are decided first
    going, fewest = deque([1.0]), 0
    trials, accepted, rejected, mean = 0, 0.0, 0.0, 0.0
    while (undecided := sum(going)) > _NOTHING:
        trials, mean = trials + 1, mean + undecided
        going = deque(a * (1 - share) + b * share for a, b in zip((*going, 0.0), (0.0, *going), strict=True))
        while going and test.decision(trials, fewest) == "accepted":
            accepted += going.popleft()
            fewest += 1
        while going and test.decision(trials, fewest + len(going) - 1) == "rejected":
            rejected += going.pop()
        yield Course(trials, accepted, rejected, sum(going), mean)


def characteristic(test: Sequential, share: float, most: int | None = None) -> Course:
    """The operating characteristic at a share, and the mean number of trials; cut off after `most` trials."""
    last = Course(0, 0.0, 0.0, 1.0, 0.0)
    for last in courses(test, share):
        if last.trials == most:
            break
    return last


def trials_needed(test: Sequential, producer: float, most: int | None = None) -> int | None:
    """After how many trials an acceptable unit has been accepted with a chance of 1 - producer: so many are needed where
    what is undecided at the end is not accepted. None where no number does, or not so many as are looked at."""
    looked_at = islice(courses(test, test.acceptable), most)
    return next((each.trials for each in looked_at if each.accepted >= 1 - producer), None)
