"""A bound that at most a stated share of all values is beyond, with a stated confidence: one-sided tolerance limits.

By order statistics, whatever the distribution (Wilks, Annals of Mathematical Statistics 12, 1941), where there are values
enough. With fewer of them by the normal distribution (exact factor: Owen, Technometrics 10, 1968; ISO 16269-6:2014), where
the values look normal and the share is not far beyond what so many values can show; else not at all.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist, fmean, stdev
from typing import Literal, NamedTuple, TypeAlias

from benchrig.study.ranks import samples_for_tolerance, upper_rank

Method: TypeAlias = Literal["order statistics", "normal tolerance limit"]

# A share is not asked of the normal distribution where so many times more values would show it.
_FURTHER = 10
_FEWEST = 50
# Values that are normal are taken for something else so often.
_DOUBT = 0.05
# Shapiro and Wilk are tabulated up to this.
_SHAPIRO = 5000


class Reach(NamedTuple):
    """The bound, and how it was found; no bound: so many values are `needed`."""

    bound: float | None
    method: Method | None
    needed: int


def upper_bound(values: Sequence[float], share: float, confidence: float) -> Reach:
    """At most this share of all values is above the bound. A lower bound is that of the negative values."""
    needed = samples_for_tolerance(1 - share, confidence, 1)
    assert needed is not None, "a share above 0"
    rank = upper_rank(len(values), 1 - share, confidence)
    if rank is not None:
        return Reach(sorted(values)[rank - 1], "order statistics", needed)
    if len(values) < _FEWEST or needed > _FURTHER * len(values) or not looks_normal(values):
        return Reach(None, None, needed)
    return Reach(fmean(values) + one_sided_factor(len(values), share, confidence) * stdev(values),
                 "normal tolerance limit", needed)  # fmt: skip


def one_sided_factor(count: int, share: float, confidence: float) -> float:
    """How many sample standard deviations above the mean: the quantile of the noncentral t distribution, by √n."""
    from scipy.stats import nct  # type: ignore[import-untyped]

    distance = NormalDist().inv_cdf(1 - share)
    return float(nct.ppf(confidence, count - 1, distance * math.sqrt(count))) / math.sqrt(count)


def looks_normal(values: Sequence[float]) -> bool:
    """Whether nothing speaks against it: Shapiro and Wilk, Biometrika 52 (1965); of very many values D'Agostino and
    Pearson, Biometrika 60 (1973)."""
    from scipy.stats import normaltest, shapiro

    if min(values) == max(values):
        return False
    test = shapiro if len(values) <= _SHAPIRO else normaltest
    return float(test(values).pvalue) >= _DOUBT
