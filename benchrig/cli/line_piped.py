"""A line without a screen: a label a line from the standard input, a line for each thing that happens to the output."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from benchrig.cli.line_text import Narrator, Teller, asked_words, stopped_words
from benchrig.cli.out import echo, whatever_the_output_does
from benchrig.errors import BenchrigError
from benchrig.line.journal import NAME, read_line
from benchrig.line.places import results_of
from benchrig.line.proof import Place
from benchrig.line_screen.typing import MOST
from benchrig.station.station import load_station
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from benchrig.line.events import AnyLineEvent
    from benchrig.line.line import Line

# Of a line in bytes.
_LONGEST = 4 * MOST
_CHUNK = 65536


async def told(line: Line) -> None:
    """Until the line has ended. At the end of the input it is asked to."""
    teller = Teller(_of_before(line), lambda slot: Place.of(line.work.station, slot).kind == "scan")

    def happened(event: AnyLineEvent) -> None:
        for words in teller.lines(event):
            _print(words)

    line.listeners.append(happened)
    lines: asyncio.Queue[str | None] = asyncio.Queue()
    _read_apart(lines.put_nowait)
    async with Tasks() as tasks:
        tasks.leave(_read(line, lines))
        await _ask(line)


def _of_before(line: Line) -> Narrator:
    """Who knows the units of earlier shifts: one that was cut off is told by its name."""
    narrator = Narrator()
    with contextlib.suppress(BenchrigError):  # the line says so itself
        path = results_of(load_station(line.file), line.options.results) / NAME
        for event in read_line(path).events:
            narrator.words(event)
    return narrator


async def _ask(line: Line) -> None:
    """Print each question when it opens, and what stops the line, until it has ended."""
    before = ""
    while (view := line.view()).state != "ended":
        if (now := asked_words(view) or stopped_words(view)) != before:
            before = now
            if now:
                _print(now)
        await line.changed.wait()
        line.changed.clear()


async def _read(line: Line, lines: asyncio.Queue[str | None]) -> None:
    while (text := await lines.get()) is not None:
        await line.read(text)
    line.finish()


def _read_apart(put: Callable[[str | None], None]) -> None:
    """Lines in a thread: a virtual clock need not wait for the next one, and a pipe that nobody writes to keeps nothing.
    Not by way of sys.stdin: its lock would be held when the process ends."""
    loop = asyncio.get_running_loop()

    def read() -> None:
        with contextlib.suppress(RuntimeError, ValueError, OSError, AttributeError):  # no input, or the loop is closed
            source = sys.stdin.fileno()
            for text in _lines(iter(lambda: os.read(source, _CHUNK), b"")):
                loop.call_soon_threadsafe(put, text)
        with contextlib.suppress(RuntimeError):
            loop.call_soon_threadsafe(put, None)

    threading.Thread(target=read, name="reads the labels", daemon=True).start()


def _lines(chunks: Iterable[bytes]) -> Iterator[str]:
    """Those with something in them. Of one that is too long as much as shows that."""
    line = b""
    for chunk in chunks:
        *ended, begun = chunk.split(b"\n")
        for part in ended:
            yield from _line(line + part)
            line = b""
        line = (line + begun)[:_LONGEST]
    yield from _line(line)


def _line(data: bytes) -> Iterator[str]:
    text = data.decode("utf-8", "replace").rstrip("\r")[:MOST]
    if text.strip(" "):
        yield text


def _print(line: str) -> None:
    with whatever_the_output_does(verdict=True):
        echo(line)
