"""Controllers that send what is no HCI, or cut it short: a station error, never a hang, a traceback or a task left."""

import asyncio
import logging

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchrig.errors import StationError
from benchrig.radio import hci as hci_radio
from benchrig.radio.bumble_stack import host, stack
from tests.radio.hci.controller import meddled, opener
from tests.radio.running import run_plan

PLAN = "plan: a\ndevice: {select: {name: x}}\nsteps:\n  - scan:\n    for: 50 ms\n    within: 300 ms\n"
PACKETS = 24  # what a controller says while it is set up and a scan begins
START = bytes.fromhex("040E0401030C00")


def cut(at):
    return lambda packet: packet[: min(at, len(packet) - 1)]


def flipped(bit):
    return lambda packet: _flip(packet, bit % (8 * len(packet)))


def _flip(packet, bit):
    out = bytearray(packet)
    out[bit // 8] ^= 1 << bit % 8
    return bytes(out)


def event(code, body):
    return lambda packet: packet + bytes((4, code, len(body))) + body


meddling = st.one_of(
    st.binary(max_size=40).map(lambda data: lambda packet: data),
    st.binary(min_size=1, max_size=40).map(lambda data: lambda packet: data + packet),
    st.integers(0, 20).map(cut),
    st.integers(0, 2000).map(flipped),
    st.builds(event, st.sampled_from([0x03, 0x05, 0x08, 0x0E, 0x0F, 0x13, 0x3E, 0xFF]), st.binary(max_size=60)),
    st.binary(max_size=50).map(lambda body: event(0x3E, b"\x01" + body)),
    st.binary(max_size=60).map(
        lambda body: lambda packet: packet + b"\x02\x01\x20" + len(body).to_bytes(2, "little") + body
    ),
    st.just(lambda packet: packet + packet),
)


@pytest.fixture
def impatient(monkeypatch):
    monkeypatch.setattr(stack, "RESET_WITHIN", 0.1)
    monkeypatch.setattr(host, "ANSWER_WITHIN", 0.1)
    monkeypatch.setattr(hci_radio, "PART_WITHIN", 0.05)
    monkeypatch.setattr(hci_radio, "PROBE_WITHIN", 0.1)


async def check(folder, capfd, at, meddle):
    """The unit is on nobody's air: what is not the station's comes to 'not heard'."""
    async with meddled(lambda number, packet: meddle(packet) if number == at else packet) as address:
        done = await run_plan(PLAN, opener(address), folder, within=10)
    assert done.ended.cause in ("station", "link"), done.ended
    assert "Traceback" not in capfd.readouterr().err


def checked(examples):
    return settings(max_examples=examples, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.mark.slow
@given(st.integers(0, PACKETS), meddling)
@checked(25)
async def test_any_garbage_is_the_stations_or_harmless(tmp_path, impatient, capfd, at, meddle):
    await check(tmp_path, capfd, at, meddle)


@pytest.mark.slow
@pytest.mark.timeout(300)
@given(st.integers(0, PACKETS), meddling)
@checked(200)
async def test_much_garbage(tmp_path, impatient, capfd, at, meddle):
    await check(tmp_path, capfd, at, meddle)


@given(st.integers(0, 2**32))
@checked(20)
async def test_noise_from_the_first_octet_is_the_stations(tmp_path, impatient, seed):
    import random

    noise = random.Random(seed)
    async with meddled(lambda number, packet: noise.randbytes(64)) as address:
        with pytest.raises(StationError):
            await opener(address)()


@pytest.mark.slow
async def test_what_bumble_logs_reaches_nobody(capfd):
    """Without a handler Python writes warnings to standard error; a process of its own has none."""
    import sys

    script = (
        "import asyncio\n"
        "from tests.radio.hci.controller import meddled, opener\n"
        "from benchrig.errors import StationError\n"
        "async def main():\n"
        "    async with meddled(lambda n, p: p if n < 3 else p[:1] + bytes((p[1], 1, 9))) as address:\n"
        "        try:\n"
        "            await opener(address)()\n"
        "        except StationError as error:\n"
        "            print(error)\n"
        "asyncio.run(main())\n"
    )
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", script, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
    )
    out, err = await process.communicate()
    assert b"invalid or unexpected HCI: 04 0e 01 09" in out
    assert err == b""


def test_bumble_still_logs_for_those_who_listen(caplog):
    with caplog.at_level(logging.WARNING, logger="bumble"):
        logging.getLogger("bumble.host").warning("a warning")
    assert "a warning" in caplog.text
