"""A program that runs beside a port: started without a shell, its output kept, ended with its children."""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import os
import shlex
import shutil
import signal
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, cast

from benchrig.errors import DeviceError, StationError

if TYPE_CHECKING:
    from benchrig.console.console import Console

# What is kept of a program's output for its last words, in octets.
TAIL = 4096
LAST_LINES = 5
LONGEST_LINE = 160
LONGEST_NAME = 60
# What a program may take to end once it is asked to, and its last words to come.
END_WITHIN = 2.0
LAST_WORDS_WITHIN = 0.2


# Octets that wait for a program which does not read its input.
MAX_WAITING = 64 * 1024
_OUT = 1


class _Output(asyncio.SubprocessProtocol):
    """Drains the output, whatever its length, so that the program does not stall. `ended` is the end of the program;
    a child may hold its pipe for longer."""

    def __init__(self, console: Console) -> None:
        self.tail = b""
        self.ended = asyncio.Event()
        self.closed = asyncio.Event()
        self.on_end: Callable[[], object] = lambda: None
        self._console = console

    def pipe_data_received(self, fd: int, data: bytes) -> None:
        self.tail = (self.tail + data)[-TAIL:]
        self._console.feed(data)

    def pipe_connection_lost(self, fd: int, exc: Exception | None) -> None:
        if fd == _OUT:
            self.closed.set()

    def process_exited(self) -> None:
        self.ended.set()
        asyncio.get_running_loop().call_later(LAST_WORDS_WITHIN, self.on_end)


class Program:
    """Make it with `start`, end it with `stop`."""

    def __init__(
        self, words: tuple[str, ...], process: asyncio.SubprocessTransport, output: _Output, console: Console
    ) -> None:
        self.words = words
        self.command = shlex.join(words)
        self.name = _shortened(self.command)
        self.digests = digests(words)
        self._process = process
        self._output = output
        self._console = console
        self._stopping = False
        output.on_end = self._tell_console
        console.back()

    @classmethod
    async def start(cls, words: tuple[str, ...], console: Console) -> Program:
        """Run a program in the current folder, with the console for its input and output. Raises StationError when it cannot
        be."""
        try:
            process, output = await asyncio.get_running_loop().subprocess_exec(
                lambda: _Output(console),
                *words,
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.STDOUT,
                # so that its children end with it, and Ctrl-C is the bench's
                start_new_session=os.name == "posix",
            )
        except OSError as exc:
            raise StationError(
                f"{words[0]} cannot be started: {exc.strerror or exc}", advice="check --start: a program and arguments"
            ) from exc
        return cls(words, process, output, console)

    async def send(self, text: str) -> None:
        """A line to its input. DeviceError when it does not read that."""
        pipe = cast("asyncio.WriteTransport | None", self._process.get_pipe_transport(0))
        if pipe is None or pipe.is_closing() or pipe.get_write_buffer_size() > MAX_WAITING:
            raise self.crash() or DeviceError(f"{self.name} does not read its input", advice="let it read its stdin")
        pipe.write(text.encode() + b"\n")

    @property
    def code(self) -> int | None:
        """Its exit code, or the number of the signal that ended it, negative; None while it runs."""
        return self._process.get_returncode()

    async def ended(self, within: float) -> bool:
        """Wait for its end; whether it came."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._output.ended.wait(), within)
            await asyncio.wait_for(self._output.closed.wait(), LAST_WORDS_WITHIN)
        return self._output.ended.is_set()

    def crash(self) -> DeviceError | None:
        """How it ended by itself; None while it runs, and once it was told to end."""
        code = self.code
        if code is None or self._stopping:
            return None
        file = self._console.kept_in
        kept = f"read its output in {file}" if file else "run the program alone to see all its output"
        return DeviceError(f"{self.name} {_how(code)}{self._last_words()}", advice=kept)

    def _tell_console(self) -> None:
        """Who waits for a line of it waits in vain."""
        if (crash := self.crash()) is not None:
            self._console.lose(crash)

    @property
    def has_failed(self) -> bool:
        """Whether it ended by itself, and not in order."""
        return self.crash() is not None and self.code != 0

    def _last_words(self) -> str:
        lines = [line.strip() for line in self._output.tail.decode("utf-8", "replace").splitlines() if line.strip()]
        shown = " | ".join(line[:LONGEST_LINE] for line in lines[-LAST_LINES:])
        return f"; its last output: {shown}" if shown else "; it said nothing"

    async def stop(self) -> None:
        """End it and its children: asked first, then not."""
        self._stopping = True
        self._signal(signal.SIGTERM)
        if not await self.ended(END_WITHIN):
            self._kill()
            await self.ended(END_WITHIN)
        self._kill()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._output.closed.wait(), 1.0)
        # a child in a session of its own may still hold the other end of the pipe
        self._process.close()
        self._console.finish_line()

    def _kill(self) -> None:
        self._signal(signal.SIGKILL if os.name == "posix" else signal.SIGTERM)

    def _signal(self, number: signal.Signals) -> None:
        """To the whole session of the program: a child may outlive it."""
        with contextlib.suppress(ProcessLookupError, PermissionError):
            if os.name == "posix":
                os.killpg(self._process.get_pid(), number)
            elif self.code is None:
                self._process.terminate()


def digests(words: tuple[str, ...]) -> dict[str, str]:
    """SHA-256 of the program and of every file among its arguments: which build was it?"""
    files = {words[0]: shutil.which(words[0]) or words[0], **{word: word for word in words[1:]}}
    return {word: _digest(Path(path)) for word, path in files.items() if os.path.isfile(path)}


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as exc:
        return f"unknown ({exc.strerror or exc})"


def _shortened(command: str) -> str:
    return f"'{command if len(command) <= LONGEST_NAME else command[: LONGEST_NAME - 1] + '…'}'"


def _how(code: int) -> str:
    if code >= 0:
        return f"ended with exit code {code}"
    try:
        return f"was ended by signal {signal.Signals(-code).name}"
    except ValueError:
        return f"was ended by signal {-code}"
