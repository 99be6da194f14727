"""One-sided tolerance limits: factors against published ones, coverage by enumeration and by simulation."""

from __future__ import annotations

import random
from statistics import NormalDist

import pytest
from scipy.stats import beta  # type: ignore[import-untyped]

from benchrig.study.reaching import looks_normal, one_sided_factor, upper_bound


@pytest.mark.parametrize(
    ("count", "share", "confidence", "factor"),
    # Natrella, Experimental Statistics (NBS Handbook 91, 1963), table A-7
    [(10, 0.10, 0.95, 2.355), (10, 0.01, 0.95, 3.981), (50, 0.05, 0.95, 2.065), (20, 0.05, 0.99, 2.807), (30, 0.001, 0.95, 4.022)],
)  # fmt: skip
def test_factors(count: int, share: float, confidence: float, factor: float) -> None:
    assert one_sided_factor(count, share, confidence) == pytest.approx(factor, abs=0.0015)


@pytest.mark.parametrize(
    ("count", "share", "confidence"), [(59, 0.05, 0.95), (300, 0.05, 0.95), (2995, 0.001, 0.95), (1000, 0.01, 0.99)]
)
def test_order_statistics_cover_whatever_the_distribution(count: int, share: float, confidence: float) -> None:
    """What is below the r-th of n values is distributed as Beta(r, n - r + 1)."""
    reach = upper_bound([float(each) for each in range(1, count + 1)], share, confidence)
    assert (reach.method, reach.bound is not None) == ("order statistics", True)
    rank = int(reach.bound or 0)
    assert beta.sf(1 - share, rank, count - rank + 1) >= confidence - 1e-9
    assert rank == 1 or beta.sf(1 - share, rank - 1, count - rank + 2) < confidence, "no wider than it must be"


@pytest.mark.slow
def test_few_values_are_extrapolated_by_the_normal_distribution_as_often_right_as_it_says() -> None:
    rng, right, rounds = random.Random(5), 0, 400
    for _ in range(rounds):
        values = [rng.gauss(0, 1) for _ in range(400)]
        reach = upper_bound(values, 0.001, 0.95)
        if reach.method:
            assert reach.method == "normal tolerance limit"
            right += NormalDist().cdf(reach.bound or 0) >= 0.999
        else:
            rounds -= 1
    assert rounds > 350, "normal values look normal"
    assert right / rounds > 0.91


def test_nothing_is_said_where_the_values_do_not_show_it() -> None:
    rng = random.Random(1)
    normal = [rng.gauss(0, 1) for _ in range(200)]
    skewed = [rng.expovariate(1) for _ in range(1000)]
    assert looks_normal(normal)
    assert not looks_normal(skewed)
    assert not looks_normal([1.0] * 100)
    assert upper_bound(skewed, 0.001, 0.95) == (None, None, 2995)
    assert upper_bound(normal, 0.001, 0.95) == (None, None, 2995), "too far beyond what 200 values show"
    assert upper_bound(normal[:30], 0.05, 0.95) == (None, None, 59), "too few for a distribution"
