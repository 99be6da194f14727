"""Devices and the bench's own stack in a rough air."""

import asyncio
import itertools
import statistics

import pytest
from bumble import hci

from benchrig.radio.virtual.conditions import PROFILES
from tests.radio.virtual.bench import LOGGER, LONG, TEMPERATURE, Bench
from tests.radio.virtual.rough import ADDRESS, Air, Scanner, VirtualController, advertisers, run, still

NEIGHBOUR = "others: [{count: 1, name: neighbour, advertising: {interval: 5 s}}]\n"


async def story(text, air, seed=1):
    """Levels, times and values of one unit, from the scan to the stream."""
    async with Bench(text, seed=seed, air=air) as bench:
        start = bench.now
        heard = [(said.rssi, said.tx_power) for device, said in await bench.scan(3.0) if said.local_name == "logger"]
        client, stream = await bench.connect(), []
        await client.start_notify(
            TEMPERATURE, lambda _, value: stream.append((round(bench.now - start, 6), bytes(value)))
        )
        await asyncio.sleep(20)
        return heard, stream


@pytest.mark.parametrize("air", PROFILES)
async def test_a_seed_repeats_and_another_differs(air):
    assert await story(LOGGER, air) == await story(LOGGER, air)
    assert await story(LOGGER, air) != await story(LOGGER, air, seed=2)


async def test_one_more_unit_changes_nothing_for_the_others():
    """Nor does it in a kind air. (It may collide: this one advertises seldom.)"""
    for air in ("kind", "rough"):
        (alone, stream), (beside, other) = await story(LOGGER, air), await story(LOGGER + NEIGHBOUR, air)
        assert [value for _, value in stream] == [value for _, value in other]
        assert alone == beside


async def test_a_scan_response_may_be_missing():
    async with Bench(LOGGER, air="crowded") as bench:
        heard = [said.tx_power for device, said in await bench.scan(30.0) if device.name == "logger"]
    assert 0.5 < statistics.mean(one is not None for one in heard) < 0.99


async def test_values_of_512_bytes_cross():
    async with Bench(LOGGER, air="rough") as bench:
        client = await bench.connect()
        await client.write_gatt_char(LONG, bytes(range(256)) * 2, response=True)
        assert bytes(await client.read_gatt_char(LONG)) == bytes(range(256)) * 2


async def test_a_units_clock_is_its_own():
    text = LOGGER.replace("period: 1 s, jitter: 20 ms", "period: 1 s") + "air: {clock: 10000 ppm}\n"
    async with Bench(text) as bench:
        client, times = await bench.connect(), []
        await client.start_notify(TEMPERATURE, lambda *_: times.append(bench.now))
        await asyncio.sleep(300)
        clock = bench.device.clock
    period = statistics.mean(b - a for a, b in itertools.pairwise(times))
    assert abs(clock - 1) > 1e-3
    assert period == pytest.approx(clock, abs=5e-4)


async def connecting(seed):
    """Seconds from the start of a scan to the first connection event, as where a host listens for the unit twice: for
    its scan, and for the connection. 60 ms windows, 48.75 ms between events."""
    air = Air(seed, conditions=still())
    central, [unit] = VirtualController("central", air), advertisers(1)
    unit.owner = VirtualController("unit", air)
    air.band.start(unit)
    loop = asyncio.get_running_loop()
    start, first, listener = loop.time(), loop.create_future(), Scanner((0.06, 0.06))
    listener.on_advertising = lambda *_: first.done() or first.set_result(None)
    air.band.listen(listener)
    await first
    air.band.unlisten(listener)
    request = hci.HCI_LE_Create_Connection_Command(
        le_scan_interval=96, le_scan_window=96, initiator_filter_policy=0, peer_address_type=1,
        peer_address=hci.Address(ADDRESS(0, 0)), own_address_type=1, connection_interval_min=39,
        connection_interval_max=39, max_latency=0, supervision_timeout=42, min_ce_length=0, max_ce_length=0,
    )  # fmt: skip
    central.on_packet(bytes(request))
    while not air.links:
        await asyncio.sleep(0.01)
    took = air.links[0].anchor - start
    air.close()
    return took


@pytest.mark.parametrize(("most", "within"), [(200, 0.02), pytest.param(2000, 0.005, marks=pytest.mark.slow)])
def test_connecting_takes_two_advertisements_and_half_an_interval(most, within):
    async def many():
        return [await connecting(seed) for seed in range(most)]

    assert statistics.mean(run(many())) == pytest.approx(0.187, abs=within)
