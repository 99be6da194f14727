"""What a simulated device does on its own at exact times after an occasion."""

import asyncio

import pytest

from tests.radio.virtual.bench import OWN, Bench, problems_of

STREAM, COMMAND = OWN(0x30), OWN(0x31)
UNIT = f"""
device: unit
advertising: {{interval: 20 ms}}
UNASKED
services:
  - service: {OWN(1)}
    characteristics:
      - {{characteristic: {STREAM}, name: stream, as: hex, properties: [read, notify], raw: '00'}}
      - {{characteristic: {COMMAND}, name: command, as: hex, properties: [write], raw: ''}}
"""


def unit(*entries):
    return UNIT.replace("UNASKED", "unasked:\n" + "\n".join(f"  - {{{entry}}}" for entry in entries))


async def subscribed(bench):
    client = await bench.connect("unit")
    heard = []
    await client.start_notify(STREAM, lambda _, value: heard.append((bench.now, value.hex())))
    return client, heard


async def test_values_at_their_times_after_the_second_subscription():
    values = "{0 ms: '01', 100 ms: ['02', '03'], 1.5 s: '04'}"
    async with Bench(
        unit(f"after: {{subscribe: stream, number: 2}}, notify: {{stream: {{timed: {values}}}}}")
    ) as bench:
        client, heard = await subscribed(bench)
        await asyncio.sleep(3)
        assert heard == []
        await client.stop_notify(STREAM)
        begins = bench.now
        await client.start_notify(STREAM, lambda _, value: heard.append((bench.now, value.hex())))
        await asyncio.sleep(3)
        assert [value for _, value in heard] == ["01", "02", "03", "04"]
        since = [time - begins for time, _ in heard]
        assert since[1] - since[0] == pytest.approx(0.1, abs=0.016)
        assert since[3] - since[1] == pytest.approx(1.4, abs=0.016)
        await client.disconnect()


async def test_what_is_sent_at_a_time_ends_with_the_link():
    async with Bench(unit("after: {subscribe: stream}, notify: {stream: {timed: {1 s: '01'}}}")) as bench:
        client, heard = await subscribed(bench)
        await client.disconnect()
        again, later = await subscribed(bench)
        await asyncio.sleep(2)
        assert heard == later == []
        await again.disconnect()


@pytest.mark.parametrize(
    ("occasion", "reads", "writes"),
    [("read: stream, number: 2", 2, 0), ("write: command", 0, 1), ("connect: true", 0, 0)],
)
async def test_the_link_ends_some_time_after(occasion, reads, writes):
    async with Bench(unit(f"after: {{{occasion}}}, delay: 500 ms, disconnect: true")) as bench:
        client = await bench.connect("unit")
        for _ in range(reads):
            await client.read_gatt_char(STREAM)
        for _ in range(writes):
            await client.write_gatt_char(COMMAND, b"1", response=True)
        begins = client._backend.connected_at if occasion.startswith("connect") else bench.now
        while client.is_connected and bench.now < begins + 2:
            await asyncio.sleep(0.01)
        assert bench.now - begins == pytest.approx(0.5, abs=0.03)


async def test_only_the_occasion_of_its_number():
    async with Bench(unit("after: {read: stream, number: 2}, delay: 100 ms, disconnect: true")) as bench:
        client = await bench.connect("unit")
        await client.read_gatt_char(STREAM)
        await asyncio.sleep(2)
        assert client.is_connected
        await client.disconnect()


@pytest.mark.parametrize(
    ("entry", "problem"),
    [
        ("after: {}, disconnect: true", "expected one of connect, read, write and subscribe"),
        ("after: {read: stream, write: command}, disconnect: true", "expected one of connect"),
        ("after: {read: straem}, disconnect: true", "no characteristic 'straem'"),
        ("after: {connect: true, number: 0}, disconnect: true", "expected a number from 1 on"),
        ("after: {connect: true}", "an action without anything to do"),
        ("disconnect: true", "after"),
        ("after: {connect: true}, notify: {steam: '01'}", "no characteristic 'steam'"),
    ],
)
def test_what_is_wrong_is_said(entry, problem):
    assert problem in "\n".join(problems_of(unit(entry)))
