"""Connections in a rough air, against what can be computed. Tolerances are about five sigma."""

import asyncio
import itertools
import math
import statistics

import pytest
from bumble import hci

from tests.radio.virtual.rough import Link, run, still

LOST, NOT_ESTABLISHED = 0x08, 0x3E
SHORT = 42  # 420 ms in units of 10 ms, with 50 ms between events: 8 of them


async def living(seconds, conditions=None, **options):
    link = Link(still(**conditions or {}), **options)
    await asyncio.sleep(seconds)
    return link


async def lived(seconds, **options):
    link = await living(seconds, **options)
    link.close()
    return link


@pytest.mark.parametrize(("most", "within"), [(300, 0.09), pytest.param(2000, 0.033, marks=pytest.mark.slow)])
def test_a_request_that_is_not_heard_looks_like_a_connection_first(most, within):
    async def many():
        return [await lived(1.0, conditions={"request_loss": 0.1}, seed=seed) for seed in range(most)]

    links = run(many())
    failed = [link for link in links if link.reasons]
    assert len(failed) / most == pytest.approx(0.1, abs=within)
    for link in failed:
        (opened, first), (ended, last) = (link.events[0], link.events[-1])
        assert (first.status, last.reason) == (0, NOT_ESTABLISHED)
        assert ended - opened == pytest.approx(6 * 0.05)


def test_six_events_in_vain_are_no_connection():
    link = run(living(1.0, conditions={"event_loss": 1.0}))
    assert link.reasons == [NOT_ESTABLISHED]
    assert link.events[-1][0] < link.events[0][0] + 0.00125 + 7 * 0.05 + 1e-6


async def lateness(count, losing):
    """How many intervals later than need be each of so many values arrives."""
    link = Link(still(event_loss=losing), seed=2)
    await asyncio.sleep(1.0)
    due = []
    for number in range(count):
        await asyncio.sleep(0.9 + 0.037 * (number % 7))
        since = asyncio.get_running_loop().time() - link.link.anchor
        due.append(math.floor(since / 0.05 + 1e-6) + 1)
        link.notify(number.to_bytes(4, "little"))
    await asyncio.sleep(3.0)
    came = [math.floor((pdu.at - link.link.anchor) / 0.05) for pdu in link.air.trace]
    return [at - first for at, first in zip(came, due, strict=True)], link


@pytest.mark.parametrize(("count", "within"), [(1000, 3.2), pytest.param(10_000, 1.0, marks=pytest.mark.slow)])
def test_what_is_lost_comes_in_a_later_event(count, within):
    late, link = run(lateness(count, 0.3))
    assert statistics.mean(late) == pytest.approx(0.429, abs=0.04 * within)
    assert late.count(0) / count == pytest.approx(0.70, abs=0.023 * within)
    assert [pdu.number for pdu in link.air.trace] == [*range(1, count + 1)]


def test_nothing_is_late_where_nothing_is_lost():
    late, _ = run(lateness(100, 0.0))
    assert set(late) == {0}


@pytest.mark.parametrize(
    ("losing", "share", "most", "within"),
    [
        (0.0, 0.0, 20, 0.0),
        (0.5, 0.91, 100, 0.15),
        pytest.param(0.3, 0.054, 1000, 0.036, marks=pytest.mark.slow),
        pytest.param(0.5, 0.91, 1000, 0.045, marks=pytest.mark.slow),
    ],
)
def test_an_idle_link_is_lost_after_eight_dead_events(losing, share, most, within):
    async def many():
        conditions = {"event_loss": losing}
        return [await lived(60.0, conditions=conditions, seed=seed, timeout=SHORT) for seed in range(most)]

    reasons = [link.reasons for link in run(many()) if link.reasons != [NOT_ESTABLISHED]]
    assert sum(reason == [LOST] for reason in reasons) / len(reasons) == pytest.approx(share, abs=within)


def test_a_link_ends_when_its_time_out_is_over():
    """Counted from the last packet that came."""

    async def dying():
        link = await living(1.01, timeout=SHORT)
        link.air.faults.loss = 1.0
        anchor, start = link.link.anchor, asyncio.get_running_loop().time()
        await asyncio.sleep(2.0)
        return link.events[-1][0] - start, (start - anchor) % 0.05, link.reasons

    took, _, reasons = run(dying())
    assert reasons == [LOST]
    # events are drawn up to 16 ahead
    assert 0.42 - 0.05 <= took <= 0.42 + 17 * 0.05


async def arrivals(count, period, interval):
    link = Link(still(), interval=interval)
    await asyncio.sleep(1.0)
    due = asyncio.get_running_loop().time()
    for number in range(count):
        due += period
        await asyncio.sleep(due - asyncio.get_running_loop().time())
        link.notify(number.to_bytes(4, "little"))
    await asyncio.sleep(1.0)
    return [pdu.at for pdu in link.air.trace]


@pytest.mark.parametrize("count", [500, pytest.param(5000, marks=pytest.mark.slow)])
def test_a_value_every_second_comes_at_whole_intervals(count):
    """20 or 21 intervals of 48.75 ms, 1 s on the average."""
    gaps = [b - a for a, b in itertools.pairwise(run(arrivals(count, 1.0, 39)))]
    assert {round(gap / 0.04875, 6) for gap in gaps} == {20, 21}
    assert statistics.mean(gaps) == pytest.approx(1.0, abs=0.001)


@pytest.mark.slow
def test_a_slow_clock_slips_by_whole_intervals():
    """20 ppm against 50 ms: once in 2500 s. (Near a slip two values may share an event, and the next has none.)"""
    times = run(arrivals(200_000, 0.05 * (1 + 20e-6), 40))
    slips = round((times[-1] - times[0]) / 0.05) - (len(times) - 1)
    assert abs(slips - 4) <= 1


async def burst(seconds, **conditions):
    """The times at which values of 244 octets come, as many as fit."""
    link = Link(still(**conditions))
    await asyncio.sleep(0.5)
    for number in range(round(seconds / 0.0025)):
        link.notify(number.to_bytes(4, "little") + bytes(247))
    await asyncio.sleep(seconds + 0.5)
    return [pdu.at for pdu in link.air.trace if pdu.at < link.events[0][0] + 0.5 + seconds]


@pytest.mark.parametrize(
    ("conditions", "rate"),
    [
        ({"data_length_after": 3}, 20 / 0.05),
        ({"data_length_after": 3, "packets": 6}, 6 / 0.05),
        ({"packets": 1000}, 0.05 / 0.0067 / 0.05),
        ({"packets": 5}, 0.5 / 0.05),
    ],
)
def test_values_in_a_second(conditions, rate):
    """251 octets are one packet with a longer data length and ten without; a host bounds the packets of an event."""
    assert len(run(burst(2.0, **conditions))) / 2.0 == pytest.approx(rate, rel=0.08)


def test_packets_are_short_until_the_lengths_are_agreed():
    async def lengths():
        link = await living(0.1, conditions={"data_length_after": 3})
        before = link.link.octets
        await asyncio.sleep(0.2)
        return before, link

    before, link = run(lengths())
    told = [event for _, event in link.events if isinstance(event, hci.HCI_LE_Data_Length_Change_Event)]
    assert (before, link.link.octets) == (27, 251)
    assert [(event.max_tx_octets, event.max_tx_time) for event in told] == [(251, 2120)]


def test_long_packets_hurt_a_weak_link():
    """Three decibels above the sensitivity more of them are lost."""

    async def late(after):
        link = Link(still(level=-94.0, sensitivity=-95.0, fading=4.0, data_length_after=after), seed=4)
        await asyncio.sleep(0.5)
        for _ in range(400):
            await asyncio.sleep(1.0)
            link.notify(bytes(20) if after is None else bytes(200))
        await asyncio.sleep(5.0)
        return statistics.mean((pdu.at - link.link.anchor) % 1.0 for pdu in link.air.trace), link

    short, _ = run(late(None))
    long, link = run(late(3))
    assert len(link.air.trace) == 400
    assert long > short


def test_an_update_takes_effect_at_its_instant():
    async def update():
        link = await living(1.0)
        start = asyncio.get_running_loop().time()
        link.link.change_timing(link.timing._replace(interval=24))
        await asyncio.sleep(1.0)
        return link.events[-1], start

    (at, event), start = run(update())
    assert isinstance(event, hci.HCI_LE_Connection_Update_Complete_Event)
    assert at - start == pytest.approx(8 * 0.05)
