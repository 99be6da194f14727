"""Questions where no loop watches the console, as on Windows: a thread reads it."""

from __future__ import annotations

import asyncio
import io
import sys
import threading

import pytest

from benchrig import threads
from benchrig.cli.operator import AtTerminal
from benchrig.desk.prompt.piped import lines_of
from benchrig.errors import OperatorError
from benchrig.radio.virtual.clock import run


class Console(io.StringIO):
    def fileno(self) -> int:
        return 99


@pytest.fixture(autouse=True)
def _windows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "LOOPS_WATCH_FILES", False)


def test_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", Console("y\n"))
    assert run(AtTerminal(lambda: None).confirm("Does it light?"))


def test_the_end_of_the_input_ends_the_question(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", Console(""))
    with pytest.raises(OperatorError, match="the terminal was closed"):
        run(AtTerminal(lambda: None).acknowledge("Mind the relay."))


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
