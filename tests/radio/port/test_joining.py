"""Units in processes of their own, on two stacks, that join the air by a port."""

import asyncio
import itertools
import shlex
import sys

import pytest

from benchrig.radio.virtual import devices_of
from benchrig.record.events import Where
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_text
from tests.radio.running import on_port, run_plan
from tests.radio.unit import PLAN

PYTHON = shlex.quote(sys.executable)
TINY = f"{PYTHON} -m tests.radio.tiny_host {{port}}"
BUMBLE = {
    "tcp": f"{PYTHON} -m tests.radio.bumble_unit tcp-client:{{port}}",
    "pty": f"{PYTHON} -m tests.radio.bumble_unit serial:{{port}}",
}


def place(kind, folder):
    return "tcp:127.0.0.1:0" if kind == "tcp" else f"pty:{folder}/dut"


async def ran(folder, kind, command):
    return await run_plan(PLAN, on_port(folder, place(kind, folder), command), folder)


SHORT = {("bumble", "tcp", "random"), ("tiny", "pty", "public")}
UNITS = [
    pytest.param(*unit, marks=() if unit in SHORT else pytest.mark.slow)
    for unit in itertools.product(("bumble", "tiny"), ("tcp", "pty"), ("public", "random"))
]


@pytest.mark.slow
@pytest.mark.parametrize(("stack", "kind", "address"), UNITS)
async def test_a_unit_joins_and_passes(tmp_path, stack, kind, address):
    done = await ran(tmp_path, kind, f"{BUMBLE[kind] if stack == 'bumble' else TINY} {address}")
    assert done.verdicts == ["pass"] * 6, [s.ended.message for s in done.record.steps]
    assert done.ended.exit_code == 0
    assert done.record.unit.address_type == address


@pytest.mark.slow
async def test_a_crash(tmp_path):
    done = await ran(tmp_path, "tcp", f"{BUMBLE['tcp']} random crash")
    failed = done.step("read setting")
    assert (failed.verdict, failed.cause) == ("fail", "device")
    assert "ended with exit code 42; its last output: up | assertion failed: queue.c:217" in failed.message
    assert (done.ended.cause, done.ended.root, done.ended.exit_code) == ("device", Where("3"), 1)
    assert done.verdicts[3:] == ["skip"] * 3
    assert "queue.c:217" in (tmp_path / "console.log").read_text()


@pytest.mark.slow
async def test_a_hang(tmp_path):
    done = await ran(tmp_path, "pty", f"{BUMBLE['pty']} random hang")
    failed = done.step("read setting")
    assert (failed.verdict, failed.cause) == ("fail", "device")
    assert "did not answer within 2" in failed.message


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["tcp", pytest.param("pty", marks=pytest.mark.slow)])
async def test_garbage(tmp_path, kind):
    done = await ran(tmp_path, kind, f"{BUMBLE[kind]} random garbage")
    failed = done.step("read setting")
    assert (failed.verdict, failed.cause) == ("fail", "device")
    assert "the firmware sent invalid HCI: 0x2A is not a packet type" in failed.message


@pytest.mark.slow
async def test_a_program_that_ends_when_it_has_come_up(tmp_path):
    plan = PLAN.replace("for: 300 ms", "for: 300 ms\n    within: 1 s")
    done = await run_plan(plan, on_port(tmp_path, start=f"{BUMBLE['tcp']} random quit"), tmp_path)
    assert (done.step("scan").verdict, done.step("scan").cause) == ("fail", "device")
    assert "ended with exit code 1; its last output: no sensor found" in done.step("scan").message


@pytest.mark.slow
async def test_a_unit_beside_simulated_devices(tmp_path):
    models = simulated("device: another\nadvertising: {interval: 20 ms, data: {name: another}}\nservices: []\n")
    done = await run_plan(PLAN, on_port(tmp_path, start=f"{TINY} public", models=models), tmp_path)
    assert done.ended.verdict == "pass"


@pytest.mark.slow
async def test_a_unit_that_nobody_started_here_and_that_goes(tmp_path):
    """Its process ends in a read: there is no exit code to tell, but a port that was closed."""
    place = f"pty:{tmp_path}/dut"
    unit = []

    async def opened():
        radio = await on_port(tmp_path, place)()
        command = shlex.split(f"{BUMBLE['pty']} random crash".replace("{port}", f"{tmp_path}/dut"))
        unit.append(
            await asyncio.create_subprocess_exec(
                *command, stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL
            )
        )
        return radio

    done = await run_plan(PLAN, opened, tmp_path)
    assert await unit[0].wait() == 42
    failed = done.step("read setting")
    assert (failed.verdict, failed.cause) == ("fail", "device")
    assert failed.message == f"the firmware on {place} has gone: it closed its connection"


@pytest.mark.slow
async def test_a_lost_link_of_a_simulated_device_is_not_blamed_on_a_port(tmp_path):
    models = simulated(
        "device: another\nadvertising: {interval: 20 ms, data: {name: ported unit}}\n"
        "faults: {disconnect_after: 1 s}\nservices: []\n"
    )
    plan = "plan: a\ndevice: {select: {name: ported unit}}\nsteps:\n  - scan:\n    for: 200 ms\n  - connect:\n  - wait: 4 s\n"
    done = await run_plan(plan, on_port(tmp_path, models=models), tmp_path)
    assert (done.step("wait").verdict, done.step("wait").cause) == ("fail", "link")


def simulated(text):
    problems = Problems()
    node = read_text(text, "device.yaml", problems)
    models = devices_of(node, problems)
    problems.raise_if_any()
    return models
