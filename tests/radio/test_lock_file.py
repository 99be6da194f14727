"""One process at a time on a radio."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from pathlib import Path

import pytest

from benchrig.errors import StationError
from benchrig.radio import lock_file
from benchrig.radio.hci import open_hci
from benchrig.radio.lock_file import Holder, LockFile, Radio, holder, name_of
from tests.radio.hci.controller import meddled

PORT = Radio("port", "the radio 'port'", "end it")
# Takes the radio again and again, as a worker does that has a test left each time.
GREEDY = """
import asyncio, sys
from pathlib import Path
from benchrig.radio import lock_file
lock_file.folder = lambda: Path(sys.argv[1])
radio = lock_file.Radio("port", "the radio 'port'", "end it")
async def main():
    while True:
        lock = await lock_file.LockFile.take(radio, 30)
        print("held", flush=True)
        await asyncio.sleep(0.01)
        lock.release()
asyncio.run(main())
"""


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(lock_file, "folder", lambda: tmp_path)
    return tmp_path


async def test_who_takes_it_again_and_again_does_so_in_turn(here: Path) -> None:
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", GREEDY, str(here), stdout=asyncio.subprocess.PIPE
    )
    assert process.stdout is not None
    try:
        assert await process.stdout.readline() == b"held\n"
        for _ in range(5):
            (await LockFile.take(PORT, 20)).release()
    finally:
        process.kill()
        await process.wait()


async def test_the_process_itself_is_told_so_at_the_end_of_its_patience() -> None:
    lock = await LockFile.take(PORT, 0)
    with pytest.raises(StationError, match=r"^this process itself, since .* is using the radio 'port'") as caught:
        await LockFile.take(PORT, 0)
    assert "close it" in caught.value.advice
    lock.release()
    assert holder("port") is None
    (await LockFile.take(PORT, 0)).release()


async def test_two_cannot_open_one_controller_and_a_failed_opening_holds_none() -> None:
    async with meddled(lambda count, packet: packet) as address:
        radio = await open_hci(f"hci:tcp:{address}", f"tcp:{address}")
        with pytest.raises(StationError, match=r"this process itself, since .* is using the radio 'hci:tcp"):
            await open_hci(f"hci:tcp:{address}", f"tcp:{address}", within=0)
        await radio.close()
        await (await open_hci(f"hci:tcp:{address}", f"tcp:{address}", within=0)).close()
    for _ in range(2):
        with pytest.raises(StationError, match=r"refused|cannot be opened|connect"):
            await open_hci(f"hci:tcp:{address}", f"tcp:{address}", within=0)


async def test_a_serial_port_has_one_lock_under_all_of_its_names(here: Path) -> None:
    (here / "by-id").symlink_to("/dev/ttyS99")
    for place in ("/dev/ttyS99", "/dev/ttyS99,115200", f"{here}/by-id,1000000"):
        with pytest.raises(StationError):
            await open_hci("hci", f"serial:{place}", within=0)
    assert [each.name for each in here.glob("*.lock")] == ["benchrig-hci-serial-dev-ttyS99.lock"]


@pytest.mark.parametrize(
    ("argv", "worker", "shown"),
    [
        (["/x/benchrig", "run", "plan.yaml", "--set", "pin=1234"], None, "benchrig run"),
        (["/x/benchrig", "--help"], None, "benchrig"),
        (["/y/benchrig/__main__.py", "write", "unit", "1234"], None, "benchrig write"),
        (["/y/pytest", "-q"], "gw1", "pytest (gw1)"),
    ],
)
def test_the_command_is_told_and_nothing_that_may_be_secret(
    argv: list[str], worker: str | None, shown: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "argv", argv)
    monkeypatch.delenv("PYTEST_XDIST_WORKER", raising=False)
    if worker:
        monkeypatch.setenv("PYTEST_XDIST_WORKER", worker)
    assert (Holder.here().process, Holder.here().command) == (os.getpid(), shown)


async def test_what_others_have_written_is_shown_safely(here: Path) -> None:
    lock = await LockFile.take(PORT, 0)
    (here / "benchrig-port.lock").write_text(json.dumps({"process": 7, "command": "a\x1b[2J" + "b" * 999}), "utf-8")
    said = str(holder("port"))
    assert said.startswith("another benchrig (process 7, a?[2Jbbb")
    assert said.isprintable()
    assert len(said) < 200
    lock.release()


def test_names_of_files_hold_no_paths() -> None:
    assert name_of("hci-tcp-[::1]:9000/../x") == "hci-tcp-1-9000-..-x"
