"""The advertising channels of a rough air, against what can be computed. Tolerances are about five sigma."""

import collections
import itertools
import statistics

import pytest

from tests.radio.virtual.rough import ALWAYS, Band, Scanner, advertisers, listen, run, still

CONTINUOUS, HALF, MODERN = (0.06, 0.06), (0.06, 0.03), (0.01125, 0.01125)
PDU = 376e-6  # 31 octets


def gaps(times):
    return [b - a for a, b in itertools.pairwise(times)]


def test_events_come_up_to_10_ms_late_each_on_its_own():
    """So a unit that says 100 ms is heard 9.5 times a second."""
    band = Band()
    run(listen(band, advertisers(1), 211, Scanner()))
    late = [gap - 0.1 for gap in gaps([at for at, _ in band.events])][:2000]
    assert len(late) == 2000
    assert all(-1e-9 <= one <= 0.010001 for one in late)
    assert statistics.mean(late) == pytest.approx(0.005, abs=0.00032)
    assert statistics.stdev(late) == pytest.approx(0.00289, abs=0.00015)


@pytest.mark.parametrize(
    ("timing", "share", "within"), [(MODERN, 0.930, 0.012), (CONTINUOUS, 0.987, 0.006), (HALF, 0.494, 0.011)]
)
def test_a_scanner_hears_what_falls_into_its_windows(timing, share, within):
    band, scanner = Band(spacing=1e-3), Scanner(timing)
    run(listen(band, advertisers(1), 1050, scanner))
    assert len(scanner.heard) / len(band.events) == pytest.approx(share, abs=within)


@pytest.mark.parametrize(("count", "clean"), [(1, 1.0), (50, 0.704), (200, 0.239)])
def test_who_advertises_at_the_same_time_is_not_heard(count, clean):
    """exp(-2(N-1)τ/T)."""
    band, scanner = Band(), Scanner()
    run(listen(band, advertisers(count), 600 / count, scanner))
    assert len(scanner.heard) / len(band.events) == pytest.approx(clean, abs=0.03 if count > 1 else 0)


@pytest.mark.slow
def test_clean_packets_among_200():
    band, scanner = Band(), Scanner()
    run(listen(band, advertisers(200), 52.5, scanner))
    assert len(scanner.heard) / len(band.events) == pytest.approx(0.239, abs=0.006)


class Everywhere(Band):
    """Its scanners listen on all channels at once."""

    def _tuned(self, *_):
        return True


@pytest.mark.slow
def test_three_channels_are_not_three_trials():
    """Units with equal spacing collide on all three or on none."""

    def share(spacing):
        band, scanner = Everywhere(spacing=spacing), Scanner()
        run(listen(band, advertisers(200), 3, scanner))
        return len(scanner.heard) / len(band.events)

    assert share(1e-3) == pytest.approx(0.239, abs=0.035)
    assert share(None) > 0.239 + 0.1


@pytest.mark.slow
def test_who_collided_once_seldom_collides_again():
    band = Band()
    run(listen(band, advertisers(200), 53, Scanner()))
    times = collections.defaultdict(list)
    order = [(at, id(unit), len(times[id(unit)]), times[id(unit)].append(at)) for at, unit in band.events]
    again = [
        abs(times[one][i + 1] - times[other][j + 1]) < PDU
        for (at, one, i, _), (later, other, j, _) in itertools.pairwise(order)
        if later - at < PDU and one != other and i + 1 < len(times[one]) and j + 1 < len(times[other])
    ]
    assert len(again) > 10_000
    assert statistics.mean(again) == pytest.approx(0.073, abs=0.013)


def test_the_stronger_of_two_is_heard_when_it_leads():
    near, far = advertisers(2)
    near.rssi_mean, far.rssi_mean = -40.0, -60.0
    band, scanner = Band(still(capture=8.0)), Scanner()
    units = [near, *(one for one in advertisers(100)[2:])]
    for unit in units[1:]:
        unit.rssi_mean = -60.0
    run(listen(band, units, 10, scanner))
    heard = collections.Counter(id(unit) for _, unit, _, _ in scanner.heard)
    sent = collections.Counter(id(unit) for _, unit in band.events)
    assert heard[id(near)] == sent[id(near)]
    assert heard[id(units[1])] < sent[id(units[1])]


def test_units_that_nobody_sees_are_in_the_way():
    conditions = still(others=200, others_interval=0.1, others_level=-20.0)
    band, scanner = Band(conditions), Scanner()
    run(listen(band, advertisers(1), 400, scanner))
    assert len(scanner.heard) / len(band.events) == pytest.approx(0.239, abs=0.035)


@pytest.mark.slow
def test_scan_requests_are_held_back_where_they_are_not_answered():
    """The back-off nearly ends them: names in scan responses then hardly come."""
    band, scanner = Band(still(others=200, others_interval=0.1, others_level=-20.0)), Scanner(active=True)
    run(listen(band, advertisers(1), 2000, scanner))
    answered = sum(answer is not None for *_, answer in scanner.heard)
    assert len(scanner.heard) > 3000
    assert answered / len(scanner.heard) < 0.02


def test_a_passive_scanner_asks_nobody():
    band, scanner = Band(), Scanner(active=False)
    run(listen(band, advertisers(1), 5, scanner))
    assert {answer for *_, answer in scanner.heard} == {None}


@pytest.mark.parametrize(("seconds", "within"), [(300, 0.02), pytest.param(3500, 0.006, marks=pytest.mark.slow)])
def test_two_scanners_that_ask_at_once_get_no_answer(seconds, within):
    """Of three on the same advertisements each has .969 of its requests answered."""
    band = AskingBand()
    run(listen(band, advertisers(1), seconds, *(Scanner(active=True, name=f"scanner {i}") for i in range(3))))
    assert band.answered / band.asked == pytest.approx(0.969, abs=within)


class AskingBand(Band):
    """Counts the requests."""

    asked = answered = 0

    def _ask(self, event, heard, others):
        before = {one.listener: self._backoffs[one.listener].count for one in heard}
        super()._ask(event, heard, others)
        self.asked += sum(before[one.listener] == 1 for one in heard)
        self.answered += sum(one.answer is not None for one in heard)


def test_levels_are_constant_for_a_unit_and_a_channel():
    """Without fading each channel has one level: a median over reports does not get rid of it."""
    band, scanner = Band(still(unit_spread=3.0, channel_spread=3.0)), Scanner((0.05, 0.05))
    run(listen(band, advertisers(1), 60, scanner))
    assert len({rssi for _, _, rssi, _ in scanner.heard}) == 3


def test_a_level_is_not_measured_now_and_then():
    band, scanner = Band(still(level_unknown=0.01)), Scanner()
    run(listen(band, advertisers(1), 500, scanner))
    unknown = sum(rssi == 127 for _, _, rssi, _ in scanner.heard)
    assert unknown / len(scanner.heard) == pytest.approx(0.01, abs=0.007)


def test_one_more_unit_shifts_no_draw():
    def times(count):
        band = Band(still(fading=4.0, loss=0.1))
        units, scanner = advertisers(count, interval=1.0, octets=0), Scanner(ALWAYS)
        run(listen(band, units, 60, scanner))
        return [at for at, unit in band.events if unit is units[0]], [
            rssi for _, unit, rssi, _ in scanner.heard if unit is units[0]
        ]

    assert times(1) == times(2)
