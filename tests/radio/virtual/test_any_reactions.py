"""Whatever a device file says about occasions, and whatever is written: problems with places, or a device that goes on."""

import asyncio
import contextlib

from bleak.exc import BleakError
from hypothesis import given, settings
from hypothesis import strategies as st

from benchrig.radio.virtual.clock import run
from tests.radio.virtual.bench import Bench, problems_of
from tests.radio.virtual.test_reactions import CONTROL, SETTINGS, TEST, box

NAMES = st.sampled_from(
    ["count", "text", "log", "answer", "test.state", "test", "settings.limit", "settings.door", "nothing"]
)
VALUES = st.sampled_from(
    [
        "written", "'{x}'", "'{x} {log}{written}'", "'0{x}'", "7", "5 m", "open", "-1 °C", "{add: 5 m}", "{add: length}", "{add: -3}",
        "{counter: {}}", "{states: [{value: running, for: 50 ms}, {value: done}]}", "{ramp: {from: 0 m, to: 50 m, over: 1 s}}",
        "{several: ['01', '{x}'], every: 10 ms}", "{pieces: '{log}{x}', size: 3, header: '01', last: 'FF', crc: CRC-16/ARC}",
    ]
)  # fmt: skip
PARTS = st.one_of(
    st.sampled_from(["starts_with: '01'", "matches: '(?P<x>.*)'", "matches: '.(?P<x>.)?.*'", "every: 2", "delay: 10 ms"]),
    st.sampled_from(["only_if: {settings.door: shut}", "sleep: 1 s", "att_error: 0x80", "silent: true", "reboot: 100 ms"]),
    st.sampled_from(["then: [{delay: 20 ms, disconnect: true}]", "then: [{reboot: 50 ms}]", "print: 'x {x}'", "print: '{log}'"]),
    st.builds("set: {{{}: {}}}".format, NAMES, VALUES),
    st.builds("notify: {{{}: {}}}".format, NAMES, VALUES),
)  # fmt: skip
CASES = st.lists(
    st.lists(PARTS, min_size=1, max_size=3, unique_by=lambda part: part.split(":")[0]).map(", ".join), max_size=3
)


async def written(text, values):
    """Write these, whatever becomes of them; leaving the bench tells what failed in the air."""
    async with Bench(text) as bench:
        for value in values:
            with contextlib.suppress(BleakError, TimeoutError):
                async with asyncio.timeout(5):
                    client = await bench.connect("box")
                    await client.start_notify(TEST, lambda *_: None)
                    await client.write_gatt_char(CONTROL, value, response=True)
                    await client.read_gatt_char(SETTINGS)
                    await asyncio.sleep(0.2)
                    await client.disconnect()
        await bench.device.take_line("x")
        await asyncio.sleep(2.0)


@settings(max_examples=25, deadline=None)
@given(CASES, st.lists(st.binary(max_size=6), min_size=1, max_size=2))
def test_any_cases_and_any_bytes(cases, values):
    text = box(*cases)
    if not problems_of(text):
        run(written(text, values))
