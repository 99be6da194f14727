"""The values of one reading over the rounds of a repetition, one a round: their statistics, and what they are evidence for."""

from __future__ import annotations

import operator
from collections import defaultdict
from typing import Any

from benchrig.steps.base import Bindable
from benchrig.values.evidence import Averaged, Evidence, Hits, Neighbours, PercentileOf, Ranked, estimate_of
from benchrig.values.jsonable import tidy
from benchrig.values.judging import shown
from benchrig.values.quantity import is_number
from benchrig.values.spread import spread
from benchrig.values.statistics import Moments, Percentiles


class Sample:
    """Nothing is kept but statistics. `limits` are those with a confidence, by the name of their reading."""

    def __init__(self) -> None:
        self.limits: dict[str, Bindable] = {}
        self._moments, self._percentiles, self._neighbours = Moments(), Percentiles(), Neighbours()
        # whether a round gave several values, and how many should have given one and did not
        self._several = False
        self._missing = 0
        # the rounds below and above the bounds of these limits
        self._beyond: dict[str, tuple[Hits, Hits]] = defaultdict(lambda: (Hits(), Hits()))

    @property
    def count(self) -> int:
        return self._moments.count

    def add(self, value: float, *, first: bool) -> None:
        self._several = self._several or not first
        self._moments.add(float(value))
        self._percentiles.add(value)
        self._neighbours.add(float(value))

    def end_round(self, value: Any, unit: str) -> None:
        """The value of a round that should have given one; None without."""
        self._missing += value is None
        for name, limit in self.limits.items() if self.count else ():  # before the first value the unit may be unknown
            bound = limit.bind("number", unit)
            below, above = self._beyond[name]
            below.add(hit=_is_beyond(value, bound.low, operator.lt))
            above.add(hit=_is_beyond(value, bound.high, operator.gt))

    def statistic(self, statistic: str, unit: str) -> Any:
        if statistic == "mean":
            return tidy(self._moments.mean)
        if statistic == "spread":
            return spread(self._moments.minimum, self._moments.maximum, unit)[0]
        return self._percentiles.percentile(float(statistic.removeprefix("p")))

    def evidence(self, name: str, statistic: str, unit: str) -> Evidence | None:
        """None for what is no estimate, and where a round gave several values: these depend on one another."""
        estimate = None if self._several else estimate_of(statistic)
        if estimate is None:
            return None
        sd, count = self._moments.sd or 0.0, self._moments.count
        text = shown(tidy(self.statistic(statistic, unit)), unit)
        if isinstance(estimate, PercentileOf):
            at, beyond = self._percentiles.at, self._beyond[name]
            return Ranked(statistic, text, count, self._missing, estimate.part, at, beyond)
        worth = self._neighbours.worth(count, sd)
        return Averaged(statistic, text, count, self._missing, self._moments.mean, sd, worth)


def _is_beyond(value: Any, edge: Any, beyond: Any) -> bool:
    """What is no number is beyond every bound."""
    return edge is not None and (not is_number(value) or bool(beyond(value, edge)))
