"""What a simulated device does at some times alone: of its reads, writes, notifications, requests and connections."""

import asyncio

import pytest
from bleak.exc import BleakError

from tests.radio.virtual.bench import LOGGER, NOTIFY, SPECIAL, VALUE, Bench, problems_of, reacting

COUNTS = {"properties": "[read, notify, write]", "value": "{counter: {start: 1}}"}


async def sent(notify="{period: 100 ms}", seconds=1.05, uuid=SPECIAL, **keys):
    """What a subscriber has heard, each with its tenth of a second."""
    async with Bench(reacting(**COUNTS, notify=notify, **keys)) as bench:
        client = await bench.connect()
        begin, heard = bench.now, []
        for one in {SPECIAL, uuid}:
            await client.start_notify(one, lambda at, data: heard.append((at.uuid, data[0], bench.now)))
        await asyncio.sleep(seconds)
        return [(value, round((at - begin) * 10)) for who, value, at in heard if who == uuid]


@pytest.mark.parametrize(
    ("on_notify", "expected"),
    [
        ("{silent: true, from: 3, times: 2}", [1, 2, 5, 6, 7, 8, 9, 10]),
        ("{silent: true, every: 3}", [1, 2, 4, 5, 7, 8, 10]),
        ("{double: true, from: 4, times: 1}", [1, 2, 3, 4, 4, 5, 6, 7, 8, 9, 10]),
        ("{swap: true, every: 4}", [1, 2, 3, 5, 4, 6, 7, 9, 8, 10]),
        ("{again: true, every: 4}", [1, 2, 3, 3, 5, 6, 7, 7, 9, 10]),
        ("{raw: '63', from: 9}", [1, 2, 3, 4, 5, 6, 7, 8, 99, 99]),
        ("{silent: true, starts_with: '05'}", [1, 2, 3, 4, 6, 7, 8, 9, 10]),
        ("{under: updates, every: 5}", [1, 2, 3, 4, 6, 7, 8, 9]),
        ("{disconnect: true, from: 4}", [1, 2, 3]),
    ],
)
async def test_what_becomes_of_values_that_are_sent(on_notify, expected):
    assert [value for value, _ in await sent(on_notify=f"{{sometimes: [{on_notify}]}}")] == expected


async def test_a_value_under_the_handle_of_another():
    under = {"on_notify": "{sometimes: [{under: updates, every: 5}]}", "uuid": NOTIFY}
    assert [value for value, _ in await sent(**under)] == [5, 10]


async def test_a_share_of_the_values_by_chance():
    heard = [value for value, _ in await sent(seconds=20.05, on_notify="{sometimes: [{share: 10 %, silent: true}]}")]
    assert 5 <= 200 - len(heard) <= 40
    assert heard == sorted(heard)


async def test_a_pause_holds_up_what_comes_behind_it_and_a_burst_comes_at_once():
    paused = await sent(on_notify="{sometimes: [{from: 3, times: 1, delay: 500 ms}]}")
    assert [at for _, at in paused] == [1, 2, 8, 8, 9, 10]
    bursts = await sent(notify="{period: 100 ms, burst: 5}")
    assert bursts == [(1, 5), (2, 5), (3, 5), (4, 5), (5, 5), (6, 10), (7, 10), (8, 10), (9, 10), (10, 10)]


@pytest.mark.parametrize(("keys", "expected"), [("", 0), (", early: true", 5), (", goes_on: true", 0)])
async def test_values_before_anybody_has_subscribed(keys, expected):
    async with Bench(reacting(**COUNTS, notify=f"{{period: 100 ms{keys}}}")) as bench:
        await bench.connect()
        bench.air.air.trace = []
        await asyncio.sleep(0.5)
        assert abs(len([one for one in bench.air.air.trace if one.to_central]) - expected) <= 1


@pytest.mark.parametrize(("keys", "goes_on"), [("", False), (", early: true", True), (", goes_on: true", True)])
async def test_values_after_unsubscribing(keys, goes_on):
    async with Bench(reacting(**COUNTS, notify=f"{{period: 100 ms{keys}}}")) as bench:
        client = await bench.connect()
        await client.start_notify(SPECIAL, lambda *_: None)
        await client.stop_notify(SPECIAL)
        bench.air.air.trace = []
        await asyncio.sleep(0.5)
        assert bool(bench.air.air.trace) is goes_on


async def numbers(*commands, **keys):
    """What is read after each write, or the kind of error; `3`: wait so many seconds before."""
    async with Bench(reacting(**{"properties": "[read, write]", "value": "1"} | keys)) as bench:
        client, found = await bench.connect(), []
        for command in commands:
            try:
                if isinstance(command, bytes):
                    await client.write_gatt_char(SPECIAL, command, response=True)
                await asyncio.sleep(command if isinstance(command, float) else 0)
                found.append((await client.read_gatt_char(SPECIAL)).hex())
            except BleakError as exc:
                found.append(type(exc).__name__)
        return found


ERROR = "BleakGATTProtocolError"


@pytest.mark.parametrize(
    ("commands", "keys", "expected"),
    [
        ([b"\5", b"\6"], {"on_write": "{ignore: true}"}, ["01", "01"]),
        ([b"\5", b"\6", b"\7"], {"on_write": "{sometimes: [{from: 2, ignore: true}]}"}, ["05", "05", "05"]),
        ([b"\5", 1.0, 1.5], {"on_write": "{late: 2 s}"}, ["01", "01", "05"]),
        ([b"\5\6"], {"on_write": "{cut_to: 1, check: false}"}, ["05"]),
        ([b"\5", b"\6"], {"on_write": "{sometimes: [{from: 2, att_error: 0x80}]}"}, ["05", ERROR]),
        ([b"\5", b"\6"], {"on_write": "{sometimes: [{from: 2, times: 1, set: {value: 1}}]}"}, None),
        ([0.0, 0.0, 0.0], {"on_read": "{sometimes: [{from: 2, times: 1, att_error: 0x80}]}"}, ["01", ERROR, "01"]),
        ([0.0, b"\5", b"\6"], {"on_read": "{sometimes: [{every: 2, again: true}]}"}, ["01", "01", "06"]),
        ([0.0, 0.0], {"on_read": "{sometimes: [{from: 2, cut_to: 0}, {raw: '07', times: 1}]}"}, ["07", ""]),
        ([0.0, 5.0], {"on_read": "{sometimes: [{after: 4 s, raw: '07'}]}"}, ["01", "07"]),
    ],
)
async def test_what_becomes_of_reads_and_writes(commands, keys, expected):
    if expected is None:
        assert problems_of(reacting(properties="[read, write]", value="1", **keys))
    else:
        assert await numbers(*commands, **keys) == expected


@pytest.mark.parametrize("power", [True, False])
async def test_what_a_write_would_have_done_later_is_gone_with_the_power(power):
    async with Bench(reacting(properties="[read, write]", value="1", on_write="{late: 5 s}")) as bench:
        client = await bench.connect()
        await client.write_gatt_char(SPECIAL, b"\5", response=True)
        if not power:
            bench.device.switch_off()
        await asyncio.sleep(10)
        assert bench.device.characteristics["special"].current() == (b"\5" if power else b"\1")


async def links_of(keys):
    """How many seconds it took to connect, and whether the link bore a read."""
    async with Bench(LOGGER + keys) as bench:
        device, found = await bench.find(), []
        for _ in range(3):
            begin, client = bench.now, bench.client(device)
            try:
                await client.connect()
                took = int(bench.now - begin)
                await client.read_gatt_char(VALUE)
                found.append((took, client.is_connected))
                await client.disconnect()
            except (BleakError, TimeoutError) as exc:
                found.append(type(exc).__name__)
            await asyncio.sleep(10)
        return found


FINE = (0, True)


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ("faults: {delay: 2 s}", [(2, True)] * 3),
        ("faults: {sometimes: [{from: 2, times: 1, delay: 2 s}]}", [FINE, (2, True), FINE]),
        ("faults: {slower_by: 1 s}", [FINE, (1, True), (2, True)]),
        ("faults: {sometimes: [{from: 2, refuse_connections: 1}]}", [FINE, "BleakError", FINE]),
        ("faults: {sometimes: [{from: 3, refuse_connections: all}]}", [FINE, FINE, "BleakError"]),
        ("on_request: {att_error: 0x80}", [ERROR] * 3),
    ],
)
async def test_links_that_begin_late_or_not_at_all(keys, expected):
    assert await links_of(keys) == expected


async def test_a_link_ends_at_a_request():
    """Each link: the requests are counted anew."""
    async with Bench(LOGGER + "on_request: {sometimes: [{from: 40, disconnect: true}]}") as bench:
        for _ in range(2):
            client = await bench.connect()
            for _ in range(20):
                await client.read_gatt_char(VALUE)
            with pytest.raises(BleakError):
                await asyncio.gather(*(client.read_gatt_char(VALUE) for _ in range(20)))
            await asyncio.sleep(1)


async def test_a_link_that_is_lost_without_a_word():
    async with Bench(LOGGER + "faults: {lost_after: 3 s}") as bench:
        for _ in range(2):
            client = await bench.connect()
            await asyncio.sleep(15)
            assert client._backend.disconnect_reason.value == 0x08


async def test_a_watchdog_that_nobody_calms():
    async with Bench(LOGGER + "faults: {restart_every: 10 s}") as bench:
        starts = []
        for _ in range(60):
            await asyncio.sleep(0.5)
            starts.append(bench.device.is_running)
        assert starts.count(False) in range(3, 7)
        bench.device.switch_off()
        await asyncio.sleep(30)
        assert not bench.device.is_running


EACH, NO_TIME = "this would happen each time", "nothing happens at these times"


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("on_read: {sometimes: [{delay: 1 s}]}", EACH),
        ("on_read: {sometimes: [{from: 2}]}", NO_TIME),
        ("on_read: {sometimes: [{from: 0, delay: 1 s}]}", "expected a number from 1 on, found 0"),
        (
            "on_read: {sometimes: [{times: 1, share: 1 %, delay: 1 s}]}",
            "'times' goes with from and every, not with share",
        ),
        ("on_read: {sometimes: [{from: 2, starts_with: '01', delay: 1 s}]}", "unknown key 'starts_with'"),
        ("on_read: {sometimes: [{from: 2, double: true}]}", "unknown key 'double'"),
        ("on_read: {cut_to: -1}", "a number of bytes is not negative"),
        ("on_notify: {under: update}", "this device has no characteristic 'update'"),
        ("on_notify: {silent: true, disconnect: true}", "'silent' and 'disconnect' exclude each other"),
        ("notify: {period: 1 s, burst: 0}", "expected a number from 1 on, found 0"),
        ("notify: {period: 1 s, burst: 3, count: 4}", "the values of 'count' make no whole bursts"),
    ],
)
def test_what_makes_no_sense_is_refused(text, problem):
    key, _, value = text.partition(": ")
    keys = {"properties": "[read, write, notify]", "value": "1", key: value}
    assert problem in "\n".join(problems_of(reacting(**keys)))


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("faults: {sometimes: [{from: 2, restart_every: 10 s}]}", "unknown key 'restart_every'"),
        ("faults: {restart_every: 100 ms}", "a device takes 1 s to start, so it would never be there"),
        ("faults: {refuse_connections: many}", "expected a number from 0 on, or all; found the text 'many'"),
    ],
)
def test_what_makes_no_sense_of_the_whole_device_is_refused(text, problem):
    assert problem in "\n".join(problems_of(f"device: one\n{text}"))


def test_what_never_sends_has_nothing_to_send_wrongly():
    wrong = reacting(properties="[read]", value="1", on_notify="{double: true}")
    assert "'on_notify' needs the property notify or indicate" in "\n".join(problems_of(wrong))
