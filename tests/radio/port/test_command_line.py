"""Commands with a port and a program beside it."""

import asyncio
import os
import signal
import sys

import pytest
from click.testing import CliRunner

from benchrig.cli import main
from tests.radio.port.test_joining import TINY
from tests.radio.port.test_program import own_host
from tests.radio.unit import COUNTER, NAME, PLAN, VALUE


async def benchrig(folder, *options, plan=PLAN):
    (folder / "plan.yaml").write_text(plan)
    return await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "benchrig",
        "run",
        str(folder / "plan.yaml"),
        "--results",
        str(folder / "results"),
        "--quiet",
        *options,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )


@pytest.mark.slow
async def test_a_unit_that_is_started_passes(tmp_path):
    port = f"pty:{tmp_path}/dut"
    process = await benchrig(tmp_path, "--radio", "virtual", "--port", port, "--start", TINY)
    out, err = await process.communicate()
    assert (process.returncode, err) == (0, b"")
    assert b"PASS, SIMULATED" in out
    [folder] = (tmp_path / "results").glob("*/")
    assert {path.name for path in folder.iterdir()} >= {"record.jsonl", "junit.xml"}
    assert not (tmp_path / "dut").is_symlink()


@pytest.mark.slow
async def test_ctrl_c_ends_the_program_too(tmp_path):
    plan = PLAN.replace("for: 500 ms", "for: 60 s")
    process = await benchrig(tmp_path, "--radio", "virtual", "--port", "tcp:127.0.0.1:0", "--start", TINY, plan=plan)
    async with asyncio.timeout(20):
        while not (started := children_of(process.pid)) or b'"opened","where":{"node":"4"}' not in record(tmp_path):
            await asyncio.sleep(0.05)
    process.send_signal(signal.SIGINT)
    await process.communicate()
    assert process.returncode == 2
    assert not any(os.path.exists(f"/proc/{pid}") for pid in started)


async def test_a_port_without_a_virtual_radio(tmp_path):
    process = await benchrig(tmp_path, "--radio", "host", "--port", "tcp:127.0.0.1:0")
    _, err = await process.communicate()
    assert process.returncode == 4
    assert b"go with a virtual radio" in err


def at_desk(*words):
    """A command for a device, with the tiny firmware on a port."""
    command, *options = words
    port = ("--radio", "virtual", "--port", "tcp:127.0.0.1:0", "--start", f"{TINY} random")
    result = CliRunner().invoke(main, [command, *port, *options])
    assert result.exit_code == 0, result.output
    return result


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        (("scan", "--for", "500ms"), NAME),
        (("read", VALUE), "01 00"),
        (("ready", "--listen", "500ms"), "port 1"),
        pytest.param(("inspect",), VALUE, marks=pytest.mark.slow),
        pytest.param(
            ("write", VALUE, "--raw", "0200", "--acknowledge", "--read-back"), "02 00", marks=pytest.mark.slow
        ),
        pytest.param(("watch", COUNTER, "--for", "1s"), "00", marks=pytest.mark.slow),
        pytest.param(("draft", "-o", "-", "--listen", "1s"), "plan:", marks=pytest.mark.slow),
    ],
)
def test_commands_for_a_device_take_a_firmware_on_a_port(words, shown, monkeypatch):
    monkeypatch.delenv("BENCHRIG_RADIO", raising=False)
    result = at_desk(*words)
    assert shown in result.stdout
    assert "SIMULATED" in result.stderr


@pytest.mark.slow
async def test_a_session_takes_a_firmware_on_a_port():
    words = ("session", "--radio", "virtual", "--port", "tcp:127.0.0.1:0", "--start", f"{TINY} random")
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "benchrig", *words, stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE
    )
    out, _ = await process.communicate(f"connect\nread {VALUE}\n".encode())
    assert (process.returncode, b"01 00" in out) == (0, True)


def test_ready_tells_of_a_firmware_that_does_not_advertise(tmp_path):
    words = ["ready", "--radio", "virtual", "--port", "tcp:127.0.0.1:0", "--listen", "300ms"]
    result = CliRunner().invoke(main, [*words, "--start", own_host(tmp_path, "pass")])
    assert result.exit_code == 7
    assert "has not enabled advertising" in " ".join(result.stdout.split())


@pytest.mark.parametrize("command", [["scan"], ["ready"], ["read", VALUE]])
def test_a_port_needs_a_virtual_radio(command, monkeypatch):
    monkeypatch.delenv("BENCHRIG_RADIO", raising=False)
    result = CliRunner().invoke(main, [*command, "--port", "tcp:127.0.0.1:0"])
    assert result.exit_code == 4
    assert "go with a virtual radio, not with 'host'" in result.stderr


def children_of(pid):
    with open(f"/proc/{pid}/task/{pid}/children") as file:
        return file.read().split()


def record(folder):
    return b"".join(path.read_bytes() for path in (folder / "results").glob("*/record.jsonl"))
