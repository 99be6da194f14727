"""Lines where no loop watches what they come from, as on Windows: a thread reads them."""

from __future__ import annotations

import asyncio
import threading

import pytest

from benchrig import threads
from benchrig.desk.prompt.piped import lines_of
from benchrig.radio.virtual.clock import run


@pytest.fixture(autouse=True)
def _windows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "LOOPS_WATCH_FILES", False)


def test_lines_of_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    chunks = [b"", b"two\n", b"one\n"]
    monkeypatch.setattr("os.read", lambda *_: chunks.pop())

    async def lines() -> list[str]:
        return [line async for line in lines_of(0)]

    assert run(lines()) == ["one", "two"]


def test_a_read_that_never_ends_keeps_nothing() -> None:
    stop = threading.Event()

    async def waiting() -> None:
        async with asyncio.timeout(0.01):
            await threads.once_readable(0, stop.wait)

    with pytest.raises(TimeoutError):
        run(waiting())
    assert all(each.daemon for each in threading.enumerate() if each is not threading.main_thread())
    stop.set()
