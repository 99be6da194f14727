"""Programs beside a port: started, watched, ended."""

import asyncio
import contextlib
import hashlib
import os
import shlex
import signal
import sys
from pathlib import Path

import pytest

from benchrig.console import log
from benchrig.console.console import Console
from benchrig.errors import DeviceError, StationError
from benchrig.radio.port import opening, program
from benchrig.radio.port.choice import parse_ports
from benchrig.radio.port.program import Program
from benchrig.radio.virtual.air import Air
from benchrig.record.events import Where
from tests.radio.running import kept, on_port, run_plan
from tests.radio.unit import PLAN

PYTHON = sys.executable


@pytest.fixture
async def console(tmp_path):
    console = Console("the console", kept(tmp_path))
    yield console
    console.close()


async def started(console, code):
    return await Program.start((PYTHON, "-u", "-c", code), console)


async def said(folder):
    """The first line of the program."""
    file = folder / "console.log"
    async with asyncio.timeout(5):
        while not (file.exists() and file.read_text()):
            await asyncio.sleep(0.02)
    return file.read_text().split()[1]


def alive(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    # an orphan that init has not reaped yet is dead as well
    with contextlib.suppress(FileNotFoundError):
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    return False


async def test_its_last_lines_are_told(console):
    one = await started(console, "for n in range(9): print('line', n)\nraise SystemExit(3)")
    assert await one.ended(5)
    assert one.crash().message.endswith("exit code 3; its last output: line 4 | line 5 | line 6 | line 7 | line 8")
    assert one.has_failed
    await one.stop()


async def test_a_signal_has_its_name(console):
    one = await started(console, "import os; os.abort()")
    assert await one.ended(5)
    assert "was ended by signal SIGABRT; it said nothing" in one.crash().message
    await one.stop()


async def test_an_end_in_order_is_no_failure(console):
    one = await started(console, "pass")
    assert await one.ended(5)
    assert not one.has_failed
    await one.stop()


async def test_output_without_end_fills_neither_disk_nor_pipe(tmp_path, console, monkeypatch):
    monkeypatch.setattr(log, "MOST_FILE", 10_000)
    one = await started(console, "import sys\nfor n in range(20000): print('x' * 99)\nprint('the end')")
    assert await one.ended(20)
    assert "the end" in one.crash().message
    await one.stop()
    assert all(file.stat().st_size <= 10_000 for file in tmp_path.iterdir())
    assert len([*tmp_path.iterdir()]) == 3


async def test_its_children_end_with_it(tmp_path, console):
    one = await started(
        console,
        "import subprocess, sys, time\n"
        "child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(100)'])\n"
        "print(child.pid); time.sleep(100)",
    )
    child = int(await said(tmp_path))
    await one.stop()
    async with asyncio.timeout(2):
        while alive(child):  # killed, but not gone yet
            await asyncio.sleep(0.01)
    assert one.crash() is None  # it was told to


async def test_one_that_does_not_listen_is_killed(tmp_path, console, monkeypatch):
    monkeypatch.setattr(program, "END_WITHIN", 0.2)
    one = await started(
        console, "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('on'); time.sleep(100)"
    )
    await said(tmp_path)
    await one.stop()
    assert one.code == -signal.SIGKILL


@pytest.mark.slow
async def test_a_daemon_that_it_leaves_holds_nobody_up(console):
    one = await started(
        console,
        "import subprocess, sys\n"
        "code = 'import time; time.sleep(3)'\n"
        "subprocess.Popen([sys.executable, '-c', code], start_new_session=True)\n",
    )
    async with asyncio.timeout(2.5):
        await one.ended(1)
        await one.stop()


@pytest.mark.slow
async def test_neither_a_deaf_program_nor_its_daemon_holds_anybody_up(tmp_path, console, monkeypatch):
    monkeypatch.setattr(program, "END_WITHIN", 0.2)
    one = await started(
        console,
        "import signal, subprocess, sys, time\n"
        "signal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
        "code = 'import time; time.sleep(8)'\n"
        "subprocess.Popen([sys.executable, '-c', code], start_new_session=True)\n"
        "print('on'); time.sleep(100)",
    )
    await said(tmp_path)
    async with asyncio.timeout(4):
        await one.stop()
    assert one.code == -signal.SIGKILL


async def test_no_such_program(tmp_path):
    with pytest.raises(StationError, match="/no/such cannot be started: No such file or directory"):
        await Program.start(("/no/such",), Console("the console"))


async def test_one_that_ends_before_it_speaks_ends_the_run(tmp_path):
    done = await run_plan(PLAN, on_port(tmp_path, start=f"{shlex.quote(PYTHON)} -c 'raise SystemExit(7)'"), tmp_path)
    assert (done.ended.cause, done.ended.root) == ("device", None)
    assert "ended with exit code 7" in done.ended.message
    assert set(done.verdicts) == {"skip"}


async def test_one_that_never_speaks(tmp_path, monkeypatch):
    monkeypatch.setattr(opening, "SPEAK_WITHIN", 0.3)
    ports = parse_ports(["tcp:127.0.0.1:0"], [f"{shlex.quote(PYTHON)} -c 'import time; time.sleep(100)'"])
    with pytest.raises(DeviceError, match=r"did not speak on tcp:127\.0\.0\.1:\d+ within 0.3 s"):
        await opening.open_ports(Air(1), ports, kept(tmp_path))


async def test_a_log_on_the_line_is_told_apart_at_once(tmp_path):
    code = (
        "import socket, sys, time\n"
        "host, _, number = sys.argv[1].rpartition(':')\n"
        "line = socket.create_connection((host, int(number)))\n"
        "line.sendall(b'boot v1.2\\r\\n'); time.sleep(0.2); line.sendall(b'more'); time.sleep(100)\n"
    )
    ports = parse_ports(["tcp:127.0.0.1:0"], [f"{shlex.quote(PYTHON)} -c {shlex.quote(code)} {{port}}"])
    with pytest.raises(DeviceError, match=r"the firmware sent invalid HCI: 0x62 .* \(text: 'boot v1\.2"):
        await opening.open_ports(Air(1), ports, kept(tmp_path))


def own_host(folder, advertise):
    """The command of a host that does this in place of advertising."""
    (folder / "own.py").write_text(
        "import os, sys, time\n"
        "from tests.radio import tiny_host\n"
        "class Own(tiny_host.TinyHost):\n"
        f"    def advertise(self):\n        {advertise}\n"
        "tiny_host.TinyHost = Own\n"
        "tiny_host.main(sys.argv[1])\n"
    )
    return f"env PYTHONPATH={shlex.quote(os.getcwd())} {shlex.quote(PYTHON)} {folder}/own.py {{port}}"


SHORT_PLAN = "plan: a\ndevice: {select: {name: ported unit}}\nsteps:\n  - scan:\n    for: 300 ms\n    within: 600 ms\n"


@pytest.mark.parametrize(
    "command",
    [
        "self.command(0x2036, bytes(25))",
        "\n        try: self.command(0x2036, bytes(25))\n        except AssertionError: pass",
    ],
)
async def test_a_firmware_that_wants_extended_advertising_is_not_to_blame(tmp_path, command):
    done = await run_plan(SHORT_PLAN, on_port(tmp_path, start=own_host(tmp_path, command)), tmp_path)
    assert (done.ended.cause, done.ended.exit_code) == ("station", 7)
    assert "it refused LE Set Extended Advertising Parameters" in done.ended.message


async def test_a_command_that_the_controller_does_not_have_is_named(tmp_path):
    done = await run_plan(SHORT_PLAN, on_port(tmp_path, start=own_host(tmp_path, "self.command(0x0C14)")), tmp_path)
    assert (done.ended.cause, done.ended.exit_code) == ("device", 1)
    assert "the controller of the port does not know: Read Local Name" in done.ended.message


async def test_a_host_that_never_advertises(tmp_path):
    done = await run_plan(SHORT_PLAN, on_port(tmp_path, start=own_host(tmp_path, "pass")), tmp_path)
    assert (done.ended.cause, done.ended.exit_code) == ("device", 1)
    assert "started, and has not enabled advertising" in done.ended.message


async def test_the_record_names_the_program_and_its_files(tmp_path):
    done = await run_plan(SHORT_PLAN, on_port(tmp_path, start=own_host(tmp_path, "pass")), tmp_path)
    digest = hashlib.sha256((tmp_path / "own.py").read_bytes()).hexdigest()
    assert f"SHA-256 of {tmp_path}/own.py: {digest}" in done.notes
    assert any(note.startswith("program 1: env PYTHONPATH=") for note in done.notes)


async def test_the_address_of_the_port_is_filled_in(tmp_path):
    ports = parse_ports(
        [f"pty:{tmp_path}/dut"], [f"{shlex.quote(PYTHON)} -c 'import sys; sys.exit(sys.argv[1])' at={{port}}"]
    )
    with pytest.raises(DeviceError, match=f"its last output: at={tmp_path}/dut"):
        await opening.open_ports(Air(1), ports, kept(tmp_path))


async def test_an_interruption_ends_it(tmp_path):
    from tests.radio.port.test_joining import TINY

    pids = []

    def interrupt(event, runner):
        if type(event).__name__ == "Opened" and event.where.node == "3":
            pids.extend(int(p) for p in children(os.getpid()))
            runner.interrupt()

    done = await run_plan(PLAN, on_port(tmp_path, start=f"{TINY} random"), tmp_path, during=interrupt)
    assert done.ended.exit_code == 2
    assert pids
    assert not any(alive(pid) for pid in pids)


@pytest.mark.slow
async def test_a_crash_that_no_step_noticed_fails_the_run(tmp_path):
    """It says good-bye, and falls over after the last step."""
    command = own_host(tmp_path, "os._exit(9) if self.count else super().advertise()")
    done = await run_plan(PLAN + "  - wait: 500 ms\n", on_port(tmp_path, start=command), tmp_path)
    assert set(done.verdicts) == {"pass"}
    assert (done.ended.verdict, done.ended.cause, done.ended.exit_code) == ("fail", "device", 1)
    assert "ended with exit code 9" in done.ended.message


@pytest.mark.slow
async def test_a_crash_is_named_where_the_unit_is_not_heard_after_the_disconnection(tmp_path):
    command = own_host(tmp_path, "os._exit(9) if self.count else super().advertise()")
    limit = "    within: 1 s\n    expect: {advertises_after: {max: 500 ms}}\n"
    done = await run_plan(PLAN + limit, on_port(tmp_path, start=command), tmp_path)
    assert (done.ended.verdict, done.ended.cause, done.ended.root) == ("fail", "device", Where("6"))
    assert "ended with exit code 9" in done.ended.message


def children(pid):
    return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
