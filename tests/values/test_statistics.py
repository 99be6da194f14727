"""Statistics of streams, against certified values and against the whole list of samples."""

from __future__ import annotations

import math
import pickle
import random
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.values.statistics import Arrivals, Gaps, Moments, Sequence
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


@pytest.mark.parametrize("values", [[1.7e308, -1.7e308], [1.7e308, 1.7e308, -1.7e308], [1e200, 3e200]])
def test_the_largest_numbers_have_a_mean(values):
    found = moments(values)
    assert math.isclose(found.mean, sum(value / len(values) for value in values), rel_tol=1e-9, abs_tol=1e292)
    assert found.sd is None, "its square is beyond all floats"


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


# --- arrivals


def arrivals(times, end=None, size=10) -> Arrivals:
    result = Arrivals()
    for at in times:
        result.add(at, size)
    if end is not None:
        result.end(end)
    return result


@pytest.mark.parametrize("times", [[], [3.0]])
def test_fewer_than_two_values_have_no_rate_and_no_gap(times):
    found = arrivals(times, 10.0)
    assert (found.rate, found.bit_rate, found.gap_max, found.gap_percentile(95)) == (None, None, None, None)


def test_a_steady_stream_has_its_own_pace():
    found = arrivals([0.5 * n for n in range(1, 21)], 10.4)
    assert (found.rate, found.bit_rate, found.gap_max) == (2.0, 160.0, 0.5)
    assert found.window == (0.5, 10.4, 20)


def test_the_silence_at_the_end_counts():
    found = arrivals([0.0, 0.1, 0.2, 0.3, 0.4], 10.4)
    assert found.gap_max == 10.0
    assert math.isclose(found.gap_percentile(95), 10.0, rel_tol=0.01001)
    assert (found.rate, found.bit_rate) == (5 / 10.4, 400 / 10.4)


def test_values_that_come_at_once_have_no_rate():
    assert arrivals([1.0, 1.0, 1.0], 1.0).rate is None
    assert arrivals([1.0, 1.0, 1.0], 4.0).rate == 1.0


@given(st.lists(st.floats(0.01, 5), min_size=2, max_size=50), st.floats(0, 100))
def test_a_silence_never_makes_a_stream_look_better(gaps, silence):
    times = [sum(gaps[:n]) for n in range(len(gaps))]
    running, stopped = arrivals(times), arrivals(times, times[-1] + silence)
    assert stopped.rate <= running.rate
    assert stopped.gap_max == max(running.gap_max, stopped.window[1] - times[-1])


# --- sequences


def counted(values, modulo=256) -> tuple[int | None, int | None]:
    sequence = Sequence(modulo)
    for value in values:
        sequence.add(value)
    return sequence.lost, sequence.duplicated


@pytest.mark.parametrize(
    ("values", "modulo", "lost", "duplicated"),
    [
        ([], 256, None, None),
        ([7], 256, None, None),
        ([1, 2, 3], 256, 0, 0),
        ([254, 255, 0, 1], 256, 0, 0),
        ([65535, 0], 65536, 0, 0),
        ([126, 127, -128, -127], 256, 0, 0),
        ([3, 0, 1, 2, 3, 0], 4, 0, 0),
        ([1, 3], 256, 1, 0),
        ([1, 3], 4, 1, 0),
        ([250, 4], 256, 9, 0),
        ([1, 1, 2], 256, 0, 1),
        ([1, 2, 1, 3], 256, 0, 1),
        ([0, 255, 1], 256, 0, 1),
        ([0, 127], 256, 126, 0),
        ([0, 128], 256, 127, 0),
        ([0, 129], 256, 0, 1),
        ([5, 6, 1000], 1 << 128, 993, 0),
        ([5, 4, 6], 1 << 128, 0, 1),
        ([7, 7, 7, 7, 7], 256, 0, 4),
    ],
)
def test_what_is_missing_and_what_came_again(values, modulo, lost, duplicated):
    assert counted(values, modulo) == (lost, duplicated)


@pytest.mark.parametrize(
    "values",
    [
        [*range(500), *range(100)],
        [*range(50), *range(80)],
        [*range(51), 250, 251, 252, 253],
        [*range(51), *(n % 256 for n in range(250, 400))],
    ],
    ids=["set anew", "set anew and past it", "199 lost of 256", "199 lost, and once around"],
)
def test_a_counter_that_goes_back_and_counts_on_has_lost_nobody_knows_how_many(values):
    modulo = 256 if max(values) < 256 else 65536
    assert counted(values, modulo)[0] is None


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


@given(st.integers(0, 255), st.lists(st.integers(1, 3), min_size=2, max_size=400))
def test_what_is_doubled_is_counted(start, times):
    values = [(start + n) % 256 for n, count in enumerate(times) for _ in range(count)]
    assert counted(values) == (0, sum(times) - len(times))


@given(st.integers(0, 65535), st.integers(2, 60_000))
def test_of_whatever_was_lost_no_more_than_half_reads_as_nothing(start, step):
    """A jump that is no loss to the counter is a repetition, and one that counts on is unknown."""
    values = [start, *((start + step + n) % 65536 for n in range(4))]
    lost, _ = counted(values, 65536)
    assert lost in (None, step - 1)
