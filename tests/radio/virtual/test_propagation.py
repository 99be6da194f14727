"""Levels, fading and bit errors, against their formulas."""

import random
import statistics

import pytest

from benchrig.radio.virtual.chance import Chance
from benchrig.radio.virtual.propagation import Path, advertising_time, fade, packet_error
from tests.radio.virtual.rough import still


@pytest.mark.parametrize(("octets", "microseconds"), [(6, 128), (37, 376), (12, 176), (34, 352)])
def test_times_of_advertising_packets(octets, microseconds):
    assert advertising_time(octets) * 1e6 == pytest.approx(microseconds)


@pytest.mark.parametrize(
    ("k", "spread", "mean", "within"), [(0, 5.57, -2.51, 0.35), (4, 3.27, -0.95, 0.2), (10, 2.0, -0.42, 0.15)]
)
def test_fading_has_its_mean_and_spread(k, spread, mean, within):
    rng = random.Random(1)
    drawn = [fade(rng, k) for _ in range(10_000)]
    assert statistics.stdev(drawn) == pytest.approx(spread, abs=within)
    assert statistics.mean(drawn) == pytest.approx(mean, abs=within)


@pytest.mark.parametrize(
    ("margin", "octets", "lost"),
    [(0, 0, 0.070), (0, 27, 0.250), (0, 37, 0.308), (0, 251, 0.875), (-1, 37, 0.73), (1, 37, 0.071), (2, 37, 0.010)],
)
def test_long_packets_are_lost_sooner(margin, octets, lost):
    assert packet_error(margin, octets) == pytest.approx(lost, rel=0.07)


def path(**conditions):
    return Path(still(**conditions), Chance(1), "unit")


@pytest.mark.parametrize(("octets", "share", "within"), [(37, 0.308, 0.023), (251, 0.875, 0.017)])
def test_packets_at_the_sensitivity(octets, share, within):
    way, rng = path(sensitivity=-95.0), random.Random(1)
    lost = [way.loses(-95.0, octets, rng) for _ in range(10_000)]
    assert statistics.mean(lost) == pytest.approx(share, abs=within)


@pytest.mark.parametrize(
    ("fading", "octets", "share"), [(0.0, 37, 0.370), (0.0, 251, 0.452), (4.0, 37, 0.194), (4.0, 251, 0.289)]
)
def test_packets_three_decibels_above_the_sensitivity(fading, octets, share):
    way, rng = path(sensitivity=-95.0, fading=fading), random.Random(1)
    lost = [way.loses(way.level(-92.0, 0, rng), octets, rng) for _ in range(10_000)]
    assert statistics.mean(lost) == pytest.approx(share, abs=0.025)


def test_only_what_survives_has_a_level():
    """So a weak unit looks stronger and steadier than it is: +.8 dB for -2.5, 2.7 dB for 5.6."""
    way, rng = path(sensitivity=-95.0, fading=0.0), random.Random(1)
    drawn = [way.level(-92.0, 0, rng) for _ in range(20_000)]
    survived = [level + 92.0 for level in drawn if not way.loses(level, 37, rng)]
    assert statistics.mean(survived) == pytest.approx(0.8, abs=0.2)
    assert statistics.stdev(survived) == pytest.approx(2.7, abs=0.2)


def test_offsets_stay():
    way, rng = path(unit_spread=3.0, channel_spread=3.0), random.Random(1)
    assert [way.level(-50.0, 37, rng) for _ in range(3)] == [way.mean_level(-50.0, 37)] * 3
    assert way.mean_level(-50.0, 37) != way.mean_level(-50.0, 38)
