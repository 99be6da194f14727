"""Means and their changes, against scipy."""

from __future__ import annotations

import random

import pytest
from scipy import stats

from benchrig.study.change import change_of, mean_of, shifted
from benchrig.study.estimate import Estimate

CHANCE = random.Random(4)
BEFORE = [CHANCE.gauss(5, 0.2) for _ in range(12)]
AFTER = [CHANCE.gauss(5.3, 0.6) for _ in range(30)]


def test_a_mean_has_the_interval_of_student() -> None:
    found, referee = mean_of(BEFORE), stats.ttest_1samp(BEFORE, 0)
    ends = referee.confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((ends.low, ends.high), rel=1e-12)


@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_a_change_has_the_interval_of_welch(confidence: float) -> None:
    found = change_of(BEFORE, AFTER, confidence)
    ends = stats.ttest_ind(AFTER, BEFORE, equal_var=False).confidence_interval(confidence)
    assert (found.low, found.high) == pytest.approx((ends.low, ends.high), rel=1e-12)
    assert found.value == pytest.approx(sum(AFTER) / 30 - sum(BEFORE) / 12)


def test_where_nothing_tells_the_spread_there_is_no_interval() -> None:
    assert mean_of([3.0]) == mean_of([3.0, 3.0]) == Estimate(3.0)
    assert change_of([1.0], AFTER).low is None
    assert change_of([1.0, 1.0], [2.0, 2.0]) == Estimate(1.0)
    assert change_of([1.0, 1.0], AFTER).low is not None


def test_a_change_by_more_than_chance() -> None:
    assert shifted(BEFORE, [value + 1 for value in BEFORE])
    assert not shifted(BEFORE, [*BEFORE, 5.0])
    assert not shifted([1.0], AFTER)  # nothing tells the spread of one value


@pytest.mark.parametrize(("one", "other"), [(4, 4), (3, 3), (3, 4), (2, 5), (2, 6), (1, 18), (1, 19), (90_000, 2)])
def test_an_exact_change_is_as_sure_as_the_permutation_test_of_fisher(one: int, other: int) -> None:
    """For two kinds of values that is his exact test of a table of four cells."""
    before, after = [92.0] * one, [93.0] * other
    assert shifted(before, after) == shifted(after, before) == (stats.fisher_exact([[one, 0], [0, other]])[1] <= 0.05)
    assert not shifted(before, [92.0] * other)
