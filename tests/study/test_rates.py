"""Rates with their exact interval, and two of them compared: scipy as a referee, coverage by enumeration."""

from __future__ import annotations

import random

import pytest
from scipy.stats import binom, binomtest, fisher_exact  # type: ignore[import-untyped]

from benchrig.study.rates import Rate


def test_intervals() -> None:
    both = binomtest(3, 1000).proportion_ci(0.95, "exact")
    assert Rate(3, 1000).interval(0.95) == pytest.approx((both.low, both.high))
    assert Rate(0, 10_000).interval(0.95) == pytest.approx((0, 1 - 0.025 ** (1 / 10_000)))
    assert Rate(20, 20).interval(0.95) == pytest.approx((0.025 ** (1 / 20), 1))
    assert Rate(3, 1000).share == 0.003


@pytest.mark.parametrize("share", [0.0005, 0.003, 0.0101, 0.02, 0.4, 0.98])
def test_an_interval_covers_the_share_as_often_as_it_says(share: float) -> None:
    """Exact: the chance of all numbers of hits whose interval holds it."""
    trials = 300
    inside = [low <= share <= high for low, high in (Rate(hits, trials).interval(0.95) for hits in range(trials + 1))]
    covered = binom.pmf([hits for hits, holds in enumerate(inside) if holds], trials, share).sum()
    assert covered >= 0.95 - 1e-9


def test_fisher() -> None:
    # Fisher's tea: Design of Experiments (1935), chapter 2
    assert Rate(3, 4).differs_from(Rate(1, 4)) == pytest.approx(0.485714, abs=1e-6)
    assert Rate(4, 4).differs_from(Rate(0, 4)) == pytest.approx(2 / 70)
    assert Rate(0, 5).differs_from(Rate(0, 9)) == 1
    chance = random.Random(2)
    for _ in range(60):
        one, other = (Rate(chance.randint(0, n), n) for n in (chance.randint(1, 400), chance.randint(1, 40)))
        table = [[one.hits, one.trials - one.hits], [other.hits, other.trials - other.hits]]
        assert one.differs_from(other) == pytest.approx(fisher_exact(table).pvalue, rel=1e-6)
        assert one.differs_from(other) == pytest.approx(other.differs_from(one))
