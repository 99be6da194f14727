"""Statistics of streams, against certified values and against the whole list of samples."""

from __future__ import annotations

import math
import pickle
import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.values.statistics import Gaps, Moments, Sequence
from tests.values.strd import SETS


def moments(values) -> Moments:
    result = Moments()
    for value in values:
        result.add(value)
    return result


@pytest.mark.parametrize("name", SETS)
def test_mean_and_standard_deviation_are_the_certified_ones(name):
    values, mean, sd, error = SETS[name]
    found = moments(values)
    assert found.count == len(values)
    assert math.isclose(found.mean, mean, rel_tol=1e-14)
    assert math.isclose(found.sd, sd, rel_tol=error)


def test_the_sum_of_squares_would_not_do():
    values, _, sd, error = SETS["NumAcc4"]
    square = sum(v * v for v in values) - sum(values) ** 2 / len(values)
    assert not math.isclose(math.sqrt(max(0.0, square) / (len(values) - 1)), sd, rel_tol=error)


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=50))
def test_the_same_as_over_the_whole_list(values):
    found = moments(values)
    assert (found.minimum, found.maximum) == (min(values), max(values))
    assert math.isclose(found.mean, statistics.fmean(values), rel_tol=1e-9, abs_tol=1e-9)
    assert math.isclose(found.sd, statistics.stdev(values), rel_tol=1e-6, abs_tol=1e-6)


def test_too_few_values_have_no_deviation():
    assert [moments([5.0] * n).sd for n in range(3)] == [None, None, 0.0]


# --- percentiles of gaps


def gaps(values) -> Gaps:
    result = Gaps()
    for value in values:
        result.add(value)
    return result


def nearest_rank(values, percent: float) -> float:
    """The definition: the smallest value that at least `percent` of the values do not exceed."""
    return sorted(values)[math.ceil(len(values) * percent / 100) - 1]


@given(st.lists(st.floats(1e-6, 1e4), min_size=1, max_size=200), st.sampled_from([1, 5, 50, 90, 95, 99, 100]))
def test_a_percentile_is_right_to_one_percent(values, percent):
    assert math.isclose(gaps(values).percentile(percent), nearest_rank(values, percent), rel_tol=0.01001)


def test_a_percentile_of_many_gaps():
    rng = random.Random(7)
    values = [0.05 * rng.lognormvariate(0, 0.5) for _ in range(20_000)]
    found = gaps(values)
    assert math.isclose(found.percentile(95), nearest_rank(values, 95), rel_tol=0.01001)
    assert found.maximum == max(values)


def test_memory_does_not_grow_with_the_stream():
    short, long = (gaps(1e-3 + 0.01 * (n % 1000) / 1000 for n in range(count)) for count in (1000, 100_000))
    assert len(pickle.dumps(long)) < 1.5 * len(pickle.dumps(short))


def test_no_gaps_have_no_percentile():
    assert (Gaps().percentile(95), Gaps().maximum) == (None, None)


def test_no_percentile_exceeds_the_longest_gap():
    assert gaps([0.1, 0.1]).percentile(95) == 0.1


@pytest.mark.parametrize("gap", [0.0, 1e-12])
def test_gaps_shorter_than_any_clock(gap):
    assert gaps([gap]).percentile(50) == gap


# --- sequences


def counted(values, modulo=256) -> tuple[int, int]:
    sequence = Sequence(modulo)
    for value in values:
        sequence.add(value)
    return sequence.lost, sequence.duplicated


@pytest.mark.parametrize(
    ("values", "modulo", "lost", "duplicated"),
    [
        ([], 256, 0, 0),
        ([7], 256, 0, 0),
        ([1, 2, 3], 256, 0, 0),
        ([254, 255, 0, 1], 256, 0, 0),
        ([65535, 0], 65536, 0, 0),
        ([1, 3], 256, 1, 0),
        ([250, 4], 256, 9, 0),
        ([1, 1, 2], 256, 0, 1),
        ([1, 2, 1, 3], 256, 0, 1),
        ([0, 255, 1], 256, 0, 1),
        ([0, 127], 256, 126, 0),
        ([0, 128], 256, 0, 1),
        ([5, 6, 1000], None, 993, 0),
        ([5, 4, 6], None, 0, 1),
    ],
)
def test_what_is_missing_and_what_came_again(values, modulo, lost, duplicated):
    assert counted(values, modulo) == (lost, duplicated)


@given(st.integers(0, 255), st.lists(st.booleans(), min_size=1, max_size=600))
def test_what_is_left_out_is_counted_across_the_wrap(start, kept):
    """Left-out runs are shorter than half the range, as the counter needs to tell a loss from a repetition."""
    values, run = [start], 0
    for offset, keep in enumerate([*kept, True], 1):
        run = 0 if keep else run + 1
        if keep or run > 100:
            values.append((start + offset) % 256)
            run = 0
    assert counted(values) == (len(kept) + 2 - len(values), 0)


@given(st.integers(0, 255), st.lists(st.integers(1, 3), min_size=1, max_size=400))
def test_what_is_doubled_is_counted(start, times):
    values = [(start + n) % 256 for n, count in enumerate(times) for _ in range(count)]
    assert counted(values) == (0, sum(times) - len(times))
