"""Means, and signs of dependence: error rates by enumeration or simulation, seeded."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from scipy.stats import t  # type: ignore[import-untyped]

from benchrig.study import mean
from benchrig.study.dependence import FALSE_ALARM, hits_cluster, worth


def test_the_reach_of_a_mean() -> None:
    for count, confidence in ((2, 0.95), (30, 0.95), (31, 0.5), (1000, 0.999), (7.5, 0.9)):
        assert mean.reach(count, 2.0, confidence) == pytest.approx(t.ppf(confidence, count - 1) * 2 / math.sqrt(count))
    for wrong in ((1, 1.0, 0.95), (5, 1.0, 1.0)):
        with pytest.raises(ValueError, match="expected"):
            mean.reach(*wrong)


@pytest.mark.parametrize(("trials", "hits"), [(12, 4), (16, 5), (14, 7)])
def test_clusters_are_as_rare_as_they_say(trials: int, hits: int) -> None:
    """Exact: every arrangement of the hits."""
    ways = [*combinations(range(trials), hits)]
    runs = [sum(at - 1 not in way for at in way) for way in ways]
    called = sum(hits_cluster(hits, trials, each) for each in runs) / len(ways)
    assert called <= FALSE_ALARM
    for each in range(1, hits + 1):
        assert hits_cluster(hits, trials, each) == (sum(one <= each for one in runs) / len(ways) < FALSE_ALARM)


def test_what_is_a_cluster() -> None:
    assert hits_cluster(3, 628, 1)
    assert not hits_cluster(3, 628, 2)
    assert not hits_cluster(2, 473, 1)  # two neighbours of 473 are not rare enough
    assert not hits_cluster(1, 1000, 1)
    assert not hits_cluster(0, 1000, 0)
    assert not hits_cluster(50, 50, 1)  # all of them: nothing to tell apart
    assert hits_cluster(50, 100, 1)


def values(correlation: float, count: int, series: int) -> np.ndarray:
    chance = np.random.default_rng(7)
    noise = chance.normal(size=(series, count))
    found = noise.copy()
    found[:, 0] /= math.sqrt(1 - correlation**2)
    for at in range(1, count):
        found[:, at] += correlation * found[:, at - 1]
    return found


def upper_limits(series: np.ndarray, confidence: float) -> list[float]:
    """Infinite where the samples show nothing."""
    count, found = series.shape[1], []
    for one in series:
        squares, steps = float(((one - one.mean()) ** 2).sum()), float((np.diff(one) ** 2).sum())
        size = worth(count, squares, steps)
        found.append(one.mean() + mean.reach(size, one.std(ddof=1), confidence) if size >= 2 else math.inf)
    return found


@pytest.mark.parametrize(("correlation", "count"), [(0.0, 30), (0.0, 100), (0.5, 100), (0.8, 100), (0.95, 300)])
def test_limits_of_a_mean_cover_it(correlation: float, count: int) -> None:
    limits = upper_limits(values(correlation, count, 1000), 0.95)
    covered = sum(limit >= 0 for limit in limits) / len(limits)
    assert covered >= 0.95 - 3 * math.sqrt(0.05 * 0.95 / 1000)


def test_independent_values_are_worth_their_number() -> None:
    series = values(0.0, 100, 3000)
    sizes = [worth(100, float(((one - one.mean()) ** 2).sum()), float((np.diff(one) ** 2).sum())) for one in series]
    assert sum(size < 100 for size in sizes) <= 3000 * FALSE_ALARM + 3 * math.sqrt(3000 * FALSE_ALARM)
    assert worth(3, 1.0, 0.0) == 3
    assert worth(50, 0.0, 0.0) == 50  # all equal


def test_a_drift_is_worth_next_to_nothing() -> None:
    drift = np.arange(100.0)
    assert worth(100, float(((drift - drift.mean()) ** 2).sum()), float((np.diff(drift) ** 2).sum())) < 2
