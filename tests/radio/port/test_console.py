"""The console and the power of a program beside a port: sound ones pass, faulty ones are blamed in the right step."""

import shlex
import sys

import pytest

from benchrig.radio.port import program
from benchrig.record.events import Where
from tests.radio.running import on_port, run_plan
from tests.radio.unit import NAME

PYTHON = shlex.quote(sys.executable)
HEAD = f"plan: a\ndevice: {{select: {{name: {NAME}}}}}\nsteps:\n"
# Prints, answers what is typed, and does on request what a firmware does that is broken. The second time it starts it does
# what stands in {again}.
FIRMWARE = """
import os, signal, sys, threading
sys.path.insert(0, {here!r})
from tests.radio import tiny_host
marker = {marker!r}
started = os.path.exists(marker)
open(marker, "w").close()
if started:
    {again}
print("boot", 2 if started else 1, flush=True)

def console():
    for line in sys.stdin:
        print("got " + line.strip(), flush=True)
        if line.strip() == "abort":
            os.abort()
        if line.strip() == "deaf":
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
            print("deaf", flush=True)

{typed}
tiny_host.main(sys.argv[1])
"""
THREAD = "threading.Thread(target=console, daemon=True).start()"


def firmware(folder, *, again="pass", typed=THREAD):
    """The command that starts it. A signal is handled in the main thread, so a deaf one is deaf from its start."""
    text = FIRMWARE.format(here=sys.path[0] or ".", marker=str(folder / "started"), again=again, typed=typed)
    (folder / "firmware.py").write_text(text.replace("signal.signal(signal.SIGTERM, signal.SIG_IGN)\n", "pass\n"))
    return f"{PYTHON} {folder}/firmware.py {{port}}"


async def ran(folder, steps, port="tcp:127.0.0.1:0", **how):
    return await run_plan(HEAD + steps, on_port(folder, port, firmware(folder, **how)), folder)


WAIT = "  - console:\n    name: {0}\n    until: {{line: {{matches: '{0}'}}}}\n    within: 3 s\n"
SEND = "  - console:\n    name: send {0}\n    send: {0}\n"


async def test_a_power_cycle_is_no_crash(tmp_path):
    steps = WAIT.format("boot 1") + SEND.format("hello") + WAIT.format("got hello")
    done = await ran(tmp_path, steps + "  - power: cycle\n    for: 10 ms\n" + WAIT.format("boot 2"))
    assert done.verdicts == ["pass"] * 5, [step.ended.message for step in done.record.steps]
    assert done.ended.exit_code == 0
    assert "console.log: 3 lines" in done.notes
    printed = [line.split(maxsplit=1)[1] for line in (tmp_path / "console.log").read_text().splitlines()]
    assert printed == ["boot 1", "> hello", "got hello", "boot 2"]


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["tcp", "pty"])
async def test_a_link_that_is_lost_with_the_power_is_no_failure(tmp_path, kind):
    steps = (
        "  - connect:\n  - power: cycle\n    for: 100 ms\n" + WAIT.format("boot 2") + "  - connect:\n    name: again\n"
    )
    done = await ran(tmp_path, steps, "tcp:127.0.0.1:0" if kind == "tcp" else f"pty:{tmp_path}/dut")
    assert done.verdicts == ["pass"] * 4, [step.ended.message for step in done.record.steps]
    assert done.ended.exit_code == 0


async def test_a_crash_ends_what_waits_for_a_line(tmp_path):
    done = await ran(tmp_path, SEND.format("abort") + WAIT.format("never"))
    assert (done.ended.verdict, done.ended.cause, done.ended.root) == ("fail", "device", Where("2"))
    assert "was ended by signal SIGABRT; its last output: boot 1 | got abort" in done.ended.message


@pytest.mark.slow
@pytest.mark.parametrize(
    ("steps", "how", "cause", "message"),
    [
        (
            SEND.format("abort") + WAIT.format("got abort") + "  - wait: 500 ms\n  - power: cycle\n",
            {},
            "device",
            "SIGABRT",
        ),
        ("  - power: cycle\n", {"again": "sys.exit(3)"}, "device", "ended with exit code 3"),
        ("  - power: down\n  - scan:\n    within: 3 s\n", {}, "link", "not heard"),
        (SEND.format("hello") + WAIT.format("got hello"), {"typed": "sys.stdin.close()"}, "limit", "not reached"),
    ],
)
async def test_who_is_to_blame(tmp_path, steps, how, cause, message):
    done = await ran(tmp_path, steps, **how)
    assert (done.ended.verdict, done.ended.cause) == ("fail", cause), done.ended.message
    assert message in done.ended.message


@pytest.mark.slow
async def test_a_program_that_does_not_listen_is_killed(tmp_path, monkeypatch):
    monkeypatch.setattr(program, "END_WITHIN", 0.2)
    deaf = "signal.signal(signal.SIGTERM, signal.SIG_IGN)\n" + THREAD
    done = await ran(tmp_path, "  - power: cycle\n" + WAIT.format("boot 2"), typed=deaf)
    assert done.ended.exit_code == 0, done.ended.message


@pytest.mark.slow
async def test_a_program_that_is_not_there_any_more(tmp_path):
    script = tmp_path / "firmware.sh"
    script.write_text(f"#!/bin/sh\nrm -f {script}\nexec {firmware(tmp_path).replace('{port}', '$1')}\n")
    script.chmod(0o755)
    done = await run_plan(HEAD + "  - power: cycle\n", on_port(tmp_path, start=f"{script} {{port}}"), tmp_path)
    assert (done.ended.verdict, done.ended.cause, done.ended.exit_code) == ("error", "station", 7)
    assert "cannot be started" in done.ended.message


@pytest.mark.slow
async def test_a_flood_hangs_nothing(tmp_path):
    """It is read as fast as it goes; nothing of it is lost on who listens."""
    flood = "[print('x' * 40, n) for n in range(200000)]; print('flood over', flush=True)\n" + THREAD
    done = await ran(tmp_path, WAIT.format("flood over").replace("3 s", "20 s") + "  - connect:\n", typed=flood)
    assert done.ended.exit_code == 0, done.ended.message
    assert sum(file.stat().st_size for file in tmp_path.glob("console*.log")) < 13 * 1024 * 1024
