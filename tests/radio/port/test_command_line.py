"""`benchrig run` with a port and a program beside it."""

import asyncio
import os
import signal
import sys

from tests.radio.port.test_joining import TINY
from tests.radio.unit import PLAN


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


async def test_a_unit_that_is_started_passes(tmp_path):
    port = f"pty:{tmp_path}/dut"
    process = await benchrig(tmp_path, "--radio", "virtual", "--port", port, "--start", TINY)
    out, err = await process.communicate()
    assert (process.returncode, err) == (0, b"")
    assert b"PASS, SIMULATED" in out
    [folder] = (tmp_path / "results").iterdir()
    assert {path.name for path in folder.iterdir()} >= {"record.jsonl", "junit.xml", "start.log"}
    assert not (tmp_path / "dut").is_symlink()


async def test_ctrl_c_ends_the_program_too(tmp_path):
    plan = PLAN.replace("for: 500 ms", "for: 60 s")
    process = await benchrig(tmp_path, "--radio", "virtual", "--port", "tcp:127.0.0.1:0", "--start", TINY, plan=plan)
    async with asyncio.timeout(20):
        while not (started := children_of(process.pid)) or b'"step":4,' not in record(tmp_path):
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


def children_of(pid):
    with open(f"/proc/{pid}/task/{pid}/children") as file:
        return file.read().split()


def record(folder):
    return b"".join(path.read_bytes() for path in (folder / "results").glob("*/record.jsonl"))
