"""Order statistics: tolerance limits and limits of percentiles against published values, coverage by exact enumeration."""

from __future__ import annotations

import pytest
from scipy.stats import binom  # type: ignore[import-untyped]

from benchrig.study.ranks import coverage, lower_rank, percentile_ranks, samples_for_tolerance, upper_rank

# Wilks, Annals of Mathematical Statistics 12 (1941): samples by (confidence, coverage), one-sided with the largest, the
# second and the third largest value as limit, two-sided with the extremes and with the second ones.
WILKS = {
    (0.90, 0.90): ((22, 38, 52), (38, 65)), (0.90, 0.95): ((45, 77, 105), (77, 132)),
    (0.95, 0.90): ((29, 46, 61), (46, 76)), (0.95, 0.95): ((59, 93, 124), (93, 153)),
    (0.95, 0.99): ((299, 473, 628), (473, 773)), (0.99, 0.95): ((90, 130, 165), (130, 198)),
    (0.99, 0.99): ((459, 662, 838), (662, 1001)),
}  # fmt: skip


@pytest.mark.parametrize(("confidence", "part"), WILKS)
def test_samples_for_tolerance_limits(confidence: float, part: float) -> None:
    one_sided, two_sided = WILKS[confidence, part]
    assert tuple(samples_for_tolerance(part, confidence, order) for order in (1, 2, 3)) == one_sided
    assert tuple(samples_for_tolerance(part, confidence, 2 * order) for order in (1, 2)) == two_sided
    assert samples_for_tolerance(1, confidence, 1) is None


# Ranks with equal tails and their coverage, from the binomial distribution (David and Nagaraja, Order Statistics, 2003,
# section 7.1): n, percentile, r, s, coverage at 95 %.
RANKS = [
    (20, 0.5, 6, 15, 0.95861), (50, 0.5, 18, 33, 0.96716), (100, 0.5, 40, 61, 0.96480), (100, 0.9, 84, 96, 0.95569),
    (100, 0.95, 90, 100, 0.98261), (200, 0.95, 184, 197, 0.96715), (500, 0.99, 490, 500, 0.98019),
    (1000, 0.99, 983, 997, 0.97609),
]  # fmt: skip


@pytest.mark.parametrize(("count", "part", "r", "s", "chance"), RANKS)
def test_limits_of_percentiles(count: int, part: float, r: int, s: int, chance: float) -> None:
    assert percentile_ranks(count, part, 0.95) == (r, s)
    assert coverage(count, part, r, s) == pytest.approx(chance, abs=5e-6)


def test_a_percentile_without_an_upper_limit() -> None:
    assert percentile_ranks(30, 0.95, 0.95) == (26, None)
    assert coverage(30, 0.95, 0, 30) == pytest.approx(0.785, abs=5e-4)  # what the largest value covers
    assert upper_rank(0, 0.5, 0.95) is None
    assert lower_rank(0, 0.5, 0.95) is None


@pytest.mark.parametrize("part", [0.05, 0.5, 0.9, 0.99])
def test_each_side_covers_as_often_as_it_says(part: float) -> None:
    """Exact, whatever the distribution: the percentile is at most x(s) where at most s - 1 samples are below it."""
    for count in (*range(1, 80, 7), 299, 1000):
        s, r = upper_rank(count, part, 0.95), lower_rank(count, part, 0.95)
        if s is not None:
            assert binom.cdf(s - 1, count, part) >= 0.95 - 1e-9
            assert s == 1 or binom.cdf(s - 2, count, part) < 0.95
        if r is not None:
            assert binom.sf(r - 1, count, part) >= 0.95 - 1e-9
            assert binom.sf(r, count, part) < 0.95
