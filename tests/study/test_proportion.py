"""Limits of proportions and numbers of trials: published values, scipy as a referee, coverage by exact enumeration."""

from __future__ import annotations

import math
import random

import pytest
from scipy.stats import binom, binomtest  # type: ignore[import-untyped]

from benchrig.study.binomial import chance_of, chance_of_at_most
from benchrig.study.proportion import hits_allowed, interval, lower, shows_at_most, trials_needed, upper, wilson

# Success run (a demonstration with k failures allowed), of the exact binomial distribution: smallest n with
# P(X <= k | n, 1 - R) <= 1 - C. By confidence and reliability; k = 0, 1, 2, 3.
SUCCESS_RUN = {
    (0.90, 0.90): (22, 38, 52, 65), (0.90, 0.95): (45, 77, 105, 132), (0.90, 0.99): (230, 388, 531, 667),
    (0.90, 0.999): (2302, 3889, 5321, 6679),
    (0.95, 0.90): (29, 46, 61, 76), (0.95, 0.95): (59, 93, 124, 153), (0.95, 0.99): (299, 473, 628, 773),
    (0.95, 0.999): (2995, 4742, 6294, 7752),
    (0.99, 0.90): (44, 64, 81, 97), (0.99, 0.95): (90, 130, 165, 198), (0.99, 0.99): (459, 662, 838, 1001),
    (0.99, 0.999): (4603, 6636, 8403, 10042),
}  # fmt: skip


@pytest.mark.parametrize(("confidence", "reliability"), SUCCESS_RUN)
def test_success_run(confidence: float, reliability: float) -> None:
    expected = SUCCESS_RUN[confidence, reliability]
    share = 1 - reliability
    assert tuple(trials_needed(share, confidence, hits) for hits in range(4)) == expected
    assert [hits_allowed(trials, share, confidence) for trials in expected] == [0, 1, 2, 3]
    assert [hits_allowed(trials - 1, share, confidence) for trials in expected] == [None, 0, 1, 2]
    assert expected[0] == math.ceil(math.log(1 - confidence) / math.log(reliability))


def test_tails_below_all_floats() -> None:
    assert chance_of_at_most(100, 10_000_000, 0.5) == 0
    assert chance_of_at_most(9_999_000, 10_000_000, 0.5) == 1
    assert hits_allowed(10_000_000, 0.01, 0.95) == 99_482


def test_trials_that_no_number_and_any_number_is_enough_for() -> None:
    assert trials_needed(0, 0.95) is None
    assert trials_needed(1, 0.95) == 1
    assert trials_needed(0.95, 0.95) == 1  # 1 - 0.95 is not quite 0.05 to a computer


# Clopper and Pearson, Biometrika 26 (1934), and Wilson, JASA 22 (1927): hits, trials, one-sided limits at 95 %, as R's
# binom.test and prop.test (without correction) have them.
LIMITS = [
    (1, 30, (0.001708, 0.148596), (0.007472, 0.136404)),
    (5, 100, (0.019906, 0.102253), (0.024547, 0.099161)),
    (99, 100, (0.953440, 0.999487), (0.956418, 0.997766)),
]


@pytest.mark.parametrize(("hits", "trials", "exact", "score"), LIMITS)
def test_one_sided_limits(hits: int, trials: int, exact: tuple[float, float], score: tuple[float, float]) -> None:
    assert (lower(hits, trials, 0.95), upper(hits, trials, 0.95)) == pytest.approx(exact, abs=5e-7)
    assert wilson(hits, trials, 0.95) == pytest.approx(score, abs=5e-7)


def test_the_ends() -> None:
    assert (lower(0, 20, 0.95), upper(20, 20, 0.95)) == (0, 1)
    assert upper(0, 20, 0.95) == pytest.approx(1 - 0.05 ** (1 / 20))
    for wrong in ((1, 0, 0.95), (3, 2, 0.95), (-1, 2, 0.95), (1, 2, 1.0), (1, 2, 0.0)):
        with pytest.raises(ValueError, match="expected"):
            upper(*wrong)


def test_scipy_agrees() -> None:
    chance = random.Random(1)
    for _ in range(50):
        trials = round(10 ** chance.uniform(0, 5))
        hits = min(trials, round(trials * chance.choice([0, 0.001, 0.1, 0.5, 0.97, chance.random()])))
        confidence, share = chance.uniform(0.5, 0.999), 10 ** chance.uniform(-6, -0.001)
        assert chance_of_at_most(hits, trials, share) == pytest.approx(
            binom.cdf(hits, trials, share), rel=1e-8, abs=1e-13
        )
        assert chance_of(hits, trials, share) == pytest.approx(binom.pmf(hits, trials, share), rel=1e-8, abs=1e-300)
        both = binomtest(hits, trials).proportion_ci(confidence, "exact")
        assert interval(hits, trials, confidence) == pytest.approx((both.low, both.high), rel=1e-6, abs=1e-9)
        score = binomtest(hits, trials).proportion_ci(confidence, "wilson")
        assert wilson(hits, trials, (1 + confidence) / 2) == pytest.approx((score.low, score.high), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("trials", [5, 29, 60, 299])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_the_limits_cover_the_share_as_often_as_they_say(trials: int, confidence: float) -> None:
    """Exact: the chance of all numbers of hits whose limits hold the share, for each share."""
    above = [upper(hits, trials, confidence) for hits in range(trials + 1)]
    below = [lower(hits, trials, confidence) for hits in range(trials + 1)]
    for share in (0.001, 0.01, 0.05, 0.0500001, 0.3, 0.5, 0.9, 0.99):
        chances = [chance_of(hits, trials, share) for hits in range(trials + 1)]
        assert sum(c for c, limit in zip(chances, above, strict=True) if share <= limit) >= confidence - 1e-9
        assert sum(c for c, limit in zip(chances, below, strict=True) if share >= limit) >= confidence - 1e-9


def test_what_is_shown_is_what_the_limit_says() -> None:
    for hits, trials in ((0, 299), (1, 473), (3, 100), (50, 60)):
        limit = upper(hits, trials, 0.95)
        assert shows_at_most(hits, trials, limit, 0.95)
        assert not shows_at_most(hits, trials, limit * (1 - 1e-7), 0.95)
    assert not shows_at_most(0, 0, 0.5, 0.95)
