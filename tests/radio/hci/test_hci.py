"""The `hci` radio on controllers behind TCP: one that works, and those that do not."""

import asyncio
import shlex
from pathlib import Path

import pytest

from benchrig.errors import StationError
from benchrig.radio.bumble_stack import host, stack
from benchrig.radio.hci import open_hci
from benchrig.radio.specify import open_simulated
from benchrig.radio.virtual import load_devices
from benchrig.source.problem import Problems
from tests.radio.hci.controller import ADDRESS, meddled, opener
from tests.radio.port.test_joining import BUMBLE
from tests.radio.running import run_plan, served_air

PLANS = Path(__file__).parents[3] / "testplans"
SCAN = "plan: a\ndevice: {select: {name: x}}\nsteps:\n  - scan:\n    for: 200 ms\n    within: 400 ms\n"


def unchanged(number, packet):
    return packet


def logger():
    problems = Problems()
    models = load_devices([PLANS / "devices/logger.yaml"], problems)
    problems.raise_if_any()
    return models


async def test_its_facts(tmp_path):
    async with served_air(tmp_path) as air:
        radio = await opener(air.ports[0].door.address)()
        await radio.close()
    assert radio.facts["controller address"] == f"{ADDRESS} (public)"
    assert radio.facts["controller"] == "HCI 5.0 revision 0x0000, LMP 5.0 subversion 0x0000, manufacturer 0xFFFF"
    assert "le encryption" in radio.facts["controller features"]
    assert radio.facts["controller buffers"] == "64 of 251 bytes"


async def test_without_a_public_address_it_has_a_random_static_one():
    nothing = bytes.fromhex("040E0A01091000")

    def no_address(number, packet):
        return nothing + bytes(6) if packet.startswith(nothing) else packet

    async with meddled(no_address) as address:
        radio = await opener(address)()
        await radio.close()
    text = radio.facts["controller address"]
    assert text.endswith(" (random)")
    assert int(text[:2], 16) >> 6 == 0b11  # Vol 6 Part B 1.3.2.1


async def test_a_controller_on_a_serial_line(tmp_path):
    async with served_air(tmp_path, port=f"pty:{tmp_path}/line"):
        radio = await open_hci("hci", f"serial:{tmp_path}/line,1000000")
        await radio.close()
    assert radio.facts["controller address"] == f"{ADDRESS} (public)"


async def test_its_traffic_is_captured(tmp_path):
    async with served_air(tmp_path) as air:
        radio = await open_hci("hci", f"tcp:{air.ports[0].door.address}", capture=tmp_path / "capture.btsnoop")
        await radio.close()
    data = (tmp_path / "capture.btsnoop").read_bytes()
    assert data.startswith(b"btsnoop\0")
    assert bytes.fromhex("01030C00") in data


@pytest.mark.slow
async def test_the_end_of_line_plan_has_the_verdicts_it_has_on_a_virtual_radio(tmp_path):
    plan = PLANS / "end_of_line.yaml"
    virtual = await run_plan(plan, lambda: open_simulated(logger(), seed=1), tmp_path)
    async with served_air(tmp_path, logger()) as air:
        real = await run_plan(plan, opener(air.ports[0].door.address), tmp_path)
    assert real.verdicts == virtual.verdicts
    assert set(real.verdicts) == {"pass"}
    assert [[r.name for r in s.readings] for s in real.record.steps] == [
        [r.name for r in s.readings] for s in virtual.record.steps
    ]


async def test_nothing_listens():
    with pytest.raises(StationError, match=r"hci:tcp:127.0.0.1:1 cannot be opened: nothing listens there"):
        await opener("127.0.0.1:1")()


async def test_no_answer_to_reset(monkeypatch):
    monkeypatch.setattr(stack, "RESET_WITHIN", 0.2)
    async with meddled(lambda number, packet: b"") as address:
        with pytest.raises(StationError, match=r"the controller did not answer Reset within 0\.2 s"):
            await opener(address)()


async def test_a_console_instead_of_a_controller():
    async with meddled(lambda number, packet: b"login: ") as address:
        with pytest.raises(StationError, match="invalid HCI: 0x6C is not a packet type"):
            await opener(address)()


async def test_a_reset_that_fails():
    failed = bytes.fromhex("040E0401030C03")  # hardware failure
    async with meddled(lambda number, packet: failed) as address:
        with pytest.raises(StationError, match="the controller does not start"):
            await opener(address)()


@pytest.mark.parametrize("at", range(0, 12, 3))
async def test_it_hangs_up_while_it_is_set_up(at):
    async with meddled(lambda number, packet: packet if number < at else None) as address:
        with pytest.raises(StationError, match="the connection to the controller is lost"):
            await opener(address)()


async def test_half_a_packet():
    async with meddled(lambda number, packet: packet if number < 5 else packet[:3]) as address:
        with pytest.raises(StationError, match="the controller sent a part of a packet and no more"):
            await opener(address)()


async def test_silence_in_mid_run(tmp_path, monkeypatch):
    monkeypatch.setattr(host, "ANSWER_WITHIN", 0.3)
    quiet = []

    def fall_silent(event, _):
        if type(event).__name__ == "Opened":
            quiet.append(event)

    async with meddled(lambda number, packet: b"" if quiet else packet) as address:
        done = await run_plan(SCAN, opener(address), tmp_path, during=fall_silent)
    assert (done.ended.cause, done.ended.exit_code) == ("station", 7)
    assert "the controller did not answer" in done.ended.message


READS = """
plan: reads
device: {select: {name: VFL-*}}
steps:
  - scan:
    for: 300 ms
  - connect:
    within: 5 s
  - wait: 300 ms
  - read: model number
    within: 2 s
  - read: battery level
  - disconnect:
finally:
  - connect:
    name: connect again
    within: 2 s
"""


@pytest.mark.parametrize("step", [1, 5, *(pytest.param(step, marks=pytest.mark.slow) for step in (2, 3, 4, 6))])
async def test_a_transport_that_dies_in_mid_run_is_the_stations(tmp_path, step):
    async with served_air(tmp_path, logger()) as air:

        def hang_up(event, _):
            if type(event).__name__ == "Opened" and event.where.node == str(step):
                asyncio.get_running_loop().call_later(0.002, air.ports[0].port._hang_up)

        done = await run_plan(READS, opener(air.ports[0].door.address), tmp_path, during=hang_up)
    found = next(step for step in done.record.steps if step.where == done.ended.root)
    assert (found.ended.verdict, found.ended.cause) == ("error", "station"), found
    assert int(found.planned.id) in (step, step + 1)
    assert "the connection to the controller is lost" in found.ended.message
    assert (done.ended.cause, done.ended.exit_code) == ("station", 7)
    later = [s.ended for s in done.record.steps if int(found.planned.id) < int(s.planned.id) <= 6]
    assert {e.verdict for e in later} <= {"skip"}
    assert {e.root for e in later} <= {found.where}


@pytest.mark.slow
async def test_a_burst_at_full_rate_is_whole_and_its_rate_is_the_units_own(tmp_path):
    """Two controllers behind ports of one air: the bench's and, in another process, the unit's. The unit counts."""
    plan = """
plan: burst
device:
  select: {name: ported unit}
  attributes:
    counter: {uuid: 5f2c0003-3b7d-4a55-9c0e-7d1f5a2b8e10, fields: [{name: number, as: uint32}, {name: filling, as: hex}]}
steps:
  - scan:
    for: 300 ms
  - connect:
  - notify: counter
    for: 1 s
    counter: number
    expect: {lost: {equals: 0}, count: {min: 200}, rate: {min: 1 Hz}}
  - disconnect:
"""
    async with served_air(tmp_path, ports=2) as air:
        bench, unit = (one.door.address for one in air.ports)
        words = shlex.split(f"{BUMBLE['tcp']} random burst".replace("{port}", unit))
        process = await asyncio.create_subprocess_exec(*words, stdout=asyncio.subprocess.PIPE)
        try:
            assert await process.stdout.readline() == b"up\n"
            done = await run_plan(plan, opener(bench), tmp_path)
            counted, seconds = (float(word) for word in (await process.stdout.readline()).split())
        finally:
            process.kill()
            await process.wait()
            process._transport.close()
    assert done.ended.verdict == "pass", [s.ended.message for s in done.record.steps]
    heard, rate = done.reading("notify", "count").value, done.reading("notify", "rate").value
    assert heard <= counted <= heard + 80  # what was on its way at the end
    assert rate == pytest.approx(counted / seconds, rel=0.15)
