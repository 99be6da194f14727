"""One benchrig at a time on an adapter."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchrig.errors import StationError
from benchrig.radio import lock_file
from benchrig.radio.adapter_lock import AdapterLock, holder

HOLD = """
import asyncio, sys
from pathlib import Path
from benchrig.radio import adapter_lock, lock_file
lock_file.folder = lambda: Path(sys.argv[1])
async def main():
    lock = await adapter_lock.AdapterLock.take("hci0", 0)
    lock.connected("C0:00:00:00:00:01")
    lock.connected("C0:00:00:00:00:02")
    lock.still(["C0:00:00:00:00:02", "C0:00:00:00:00:03"])
    print("held", flush=True)
    sys.stdin.read()
    lock.still([])
    lock.release()
asyncio.run(main())
"""


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(lock_file, "folder", lambda: tmp_path)
    return tmp_path


@pytest.fixture
def other(here: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that has the lock."""
    command = [sys.executable, "-c", HOLD, str(here)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


async def test_a_living_one_is_named_and_waited_for_so_long(other: subprocess.Popen[str]) -> None:
    loop = asyncio.get_running_loop()
    started = loop.time()
    with pytest.raises(
        StationError, match=rf"process {other.pid}, -c .*, since .*\) is using the adapter 'hci0'.* in 0.2 s"
    ):
        await AdapterLock.take("hci0", 0.2)
    assert 0.2 <= loop.time() - started < 5
    there = holder("hci0")
    assert there is not None
    assert (there.process, there.command.split()[0]) == (other.pid, "-c")
    (await AdapterLock.take("hci1", 0)).release()


async def test_a_dead_ones_links_are_told_once(other: subprocess.Popen[str]) -> None:
    other.kill()
    other.wait()
    assert holder("hci0") is None
    lock = await AdapterLock.take("hci0", 0)
    assert lock.left == ("C0:00:00:00:00:02",)
    assert lock.met == {"C0:00:00:00:00:01", "C0:00:00:00:00:02"}
    lock.release()
    after = await AdapterLock.take("hci0", 0)
    assert after.left == ()
    after.release()


async def test_one_that_ends_leaves_nothing(other: subprocess.Popen[str]) -> None:
    waiting = asyncio.ensure_future(AdapterLock.take("hci0", 30))
    await asyncio.sleep(0)
    await asyncio.to_thread(other.communicate)
    lock = await waiting
    assert lock.left == ()
    lock.release()


@pytest.mark.parametrize(
    "said", [b"", b"\xff", b"[]", b"{}", b'{"process": "x", "connected": 3, "since": [], "command": null}']
)
async def test_whatever_stands_in_the_file(here: Path, said: bytes) -> None:
    (here / "benchrig-hci0.lock").write_bytes(said)
    lock = await AdapterLock.take("hci0", 0)
    assert lock.left == ()
    lock.release()


async def test_a_file_that_cannot_be_opened_is_told(here: Path) -> None:
    (here / "benchrig-hci0.lock").symlink_to("/dev/null")
    with pytest.raises(StationError, match="cannot be opened") as caught:
        await AdapterLock.take("hci0", 0)
    assert caught.value.advice


async def test_every_user_may_take_it(here: Path) -> None:
    before = os.umask(0o077)
    try:
        (await AdapterLock.take("hci0", 0)).release()
    finally:
        os.umask(before)
    assert (here / "benchrig-hci0.lock").stat().st_mode & 0o777 == 0o666
