"""How often something happened in so many trials, with its exact interval, and whether two such rates differ."""

from __future__ import annotations

import math
from typing import NamedTuple

from benchrig.study import proportion

# Tables whose chance is equal but for rounding count as equal.
_ROUNDING = 1 + 1e-7


class Rate(NamedTuple):
    """So many hits in so many trials, of which there is at least one."""

    hits: int
    trials: int

    @property
    def share(self) -> float:
        return self.hits / self.trials

    def interval(self, confidence: float) -> tuple[float, float]:
        """Where the share behind it is, half of the risk on either side (Clopper and Pearson)."""
        return proportion.interval(self.hits, self.trials, confidence)

    def differs_from(self, other: Rate) -> float:
        """The chance of two rates that are at least so far apart where the share behind them is the same: the two-sided
        p-value of Fisher's exact test (1922), the sum of all tables with these margins that are as rare or rarer."""
        hits, trials = self.hits + other.hits, self.trials + other.trials
        least, most = max(0, hits - other.trials), min(hits, self.trials)
        whole = _log_ways(trials, hits)
        chances = [
            math.exp(_log_ways(self.trials, each) + _log_ways(other.trials, hits - each) - whole)
            for each in range(least, most + 1)
        ]
        seen = chances[self.hits - least] * _ROUNDING
        return min(1.0, math.fsum(chance for chance in chances if chance <= seen))


def _log_ways(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
