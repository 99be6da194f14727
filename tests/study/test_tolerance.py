"""Factors of tolerance intervals against published tables, and coverage against simulated samples."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchrig.study.tolerance import Group, factor, interval, spread_of


# ISO 16269-6:2014, annex F: coverage, confidence, n values in each of m samples, k rounded up to four decimals
# (as sampled in the tests of the package tolerance_interval_py, MIT, J. Ludlow 2021).
@pytest.mark.parametrize(
    ("coverage", "confidence", "n", "m", "k"),
    [
        (0.90, 0.90, 2, 1, 15.5124),
        (0.90, 0.90, 1000, 10, 1.6609),
        (0.95, 0.90, 30, 2, 2.2749),
        (0.99, 0.90, 8, 5, 3.2572),
        (0.90, 0.95, 2, 1, 31.0923),
        (0.95, 0.95, 5, 1, 5.0769),
        (0.95, 0.95, 10, 1, 3.3935),
        (0.95, 0.95, 26, 10, 2.1803),
        (0.99, 0.95, 3, 1, 12.6472),
        (0.99, 0.95, 9, 3, 3.5909),
        (0.99, 0.95, 500, 1, 2.7208),
        (0.90, 0.99, 4, 1, 9.4162),
        (0.95, 0.99, 2, 1, 182.7201),
        (0.99, 0.99, 3, 1, 28.5857),
        (0.99, 0.99, 15, 10, 3.1777),
    ],
)
def test_factors_of_iso_16269_6(coverage, confidence, n, m, k):
    found = factor(n, m * (n - 1), coverage, confidence)
    assert math.ceil(found * 1e4 - 1e-4) / 1e4 == pytest.approx(k, abs=1e-9)


# Berthouex and Brown, Statistics for Environmental Engineers, 2nd edition, table 21.1: confidence 95 %.
@pytest.mark.parametrize(
    ("n", "k"), [(4, (5.37, 6.34, 8.22)), (10, (2.86, 3.39, 4.44)), (20, (2.32, 2.76, 3.62)), (60, (1.96, 2.34, 3.07))]
)
def test_factors_of_berthouex_and_brown(n, k):
    assert [round(factor(n, n - 1, share, 0.95), 2) for share in (0.90, 0.95, 0.99)] == pytest.approx(k, abs=0.0051)


def test_the_approximation_of_the_nist_handbook_is_near():
    # NIST/SEMATECH e-Handbook 7.2.6.3: 43 wafers, 90 % with 99 % confidence, Howe's approximation gives 2.217
    assert factor(43, 42, 0.90, 0.99) == pytest.approx(2.217, rel=0.004)


def test_a_share_that_is_none_is_refused():
    with pytest.raises(ValueError, match="between 0 and 1"):
        factor(5, 4, 1.0, 0.95)


@pytest.mark.slow
@pytest.mark.parametrize(("units", "between", "within"), [(2, 1.0, 0.2), (2, 1.0, 1.0), (3, 1.0, 0.2), (3, 1.0, 1.0), (5, 1.0, 1.0), (3, 0.0, 1.0)])  # fmt: skip
def test_intervals_of_units_keep_their_promise(units, between, within):
    """Of 99 % coverage with 95 % confidence; few units that are alike by chance must not make it narrow."""
    noise, total = np.random.default_rng(1), math.hypot(between, within)
    kept = 0
    for _ in range(500):
        values = noise.normal(0, between, (units, 1)) + noise.normal(0, within, (units, 4))
        low, high = interval([Group.of([*map(float, row)]) for row in values], 0.99, 0.95)
        kept += math.erf(high / total / math.sqrt(2)) - math.erf(low / total / math.sqrt(2)) >= 2 * 0.99
    assert kept / 500 >= 0.925  # 95 % less 2.5 standard deviations of a share of 500


def test_one_unit_is_a_sample_of_its_values():
    spread = spread_of([Group.of([1.0, 2.0, 3.0])])
    assert (spread.mean, spread.sd, spread.size, spread.freedom) == (2.0, 1.0, 3, 2)


def test_units_with_a_value_each_are_a_sample_of_units():
    spread = spread_of([Group.of([value]) for value in (1.0, 2.0, 3.0)])
    assert (spread.mean, spread.sd, spread.size, spread.freedom) == (2.0, 1.0, 3, 2)


def test_units_that_do_not_differ_count_value_by_value():
    spread = spread_of([Group.of([1.0, 3.0]), Group.of([1.0, 3.0])])
    assert (spread.mean, spread.size, spread.freedom) == (2.0, 4, 2)


def test_equal_values_make_no_spread():
    assert interval([Group.of([5.0, 5.0]), Group.of([5.0])], 0.99, 0.95) == (5.0, 5.0)


@pytest.mark.parametrize(("between", "within"), [(1.0, 0.3), (0.3, 1.0), (0.0, 1.0)])
def test_intervals_from_several_units_hold_what_they_promise(between, within):
    """Own Monte Carlo: 120 drafts of 6 units with 4 values each; the share that covers 90 % is about 90 % or more."""
    random = np.random.default_rng(7)
    total = math.hypot(between, within)
    good = 0
    for _ in range(120):
        centres = random.normal(0, between, 6)
        groups = [Group.of([float(v) for v in random.normal(c, within, 4)]) for c in centres]
        low, high = interval(groups, 0.90, 0.90)
        good += math.erf(high / total / math.sqrt(2)) / 2 - math.erf(low / total / math.sqrt(2)) / 2 >= 0.90
    assert good / 120 >= 0.84
