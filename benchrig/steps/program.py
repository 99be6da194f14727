"""A program that runs beside the bench, on any loop: threads wait for it and read what it says."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import IO

from benchrig.threads import in_thread

MAX_OUTPUT = 64 * 1024
# What a program that ended may have left in its pipes, or a child of it still has to say.
DRAIN = 1.0
# A killed process is gone at once, unless the system itself hangs on to it.
KILL = 5.0


class Program:
    """Started in a session of its own, so that its children end with it. Raises OSError and ValueError."""

    def __init__(self, arguments: Sequence[str], folder: Path) -> None:
        self._process = subprocess.Popen(
            [*arguments],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=folder,
            start_new_session=os.name == "posix",
        )
        assert self._process.stdout is not None
        assert self._process.stderr is not None
        self._outputs = [_Output(self._process.stdout), _Output(self._process.stderr)]
        self._ended = in_thread(self._process.wait)

    async def ended(self, within: float) -> int | None:
        """The exit code; None when the program still runs after that time."""
        await asyncio.wait({self._ended}, timeout=within)
        return self._process.returncode if self._ended.done() else None

    async def silent(self) -> bool:
        """Once it has ended: whether nothing has its outputs open any more. What it left running is ended."""
        drained = [output.drained for output in self._outputs]
        await asyncio.wait(drained, timeout=DRAIN)
        self.kill()
        _, holding = await asyncio.wait(drained, timeout=DRAIN)
        return not holding

    async def end(self) -> None:
        """Kill what is left of the program and its children, and wait until it is gone."""
        self.kill()
        await asyncio.wait({self._ended}, timeout=KILL)

    def kill(self) -> None:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            if os.name == "posix":
                os.killpg(self._process.pid, signal.SIGKILL)
            else:
                self._process.kill()

    @property
    def texts(self) -> tuple[str, str]:
        """Standard output and standard error, each as far as it came and is kept."""
        output, errors = (output.text for output in self._outputs)
        return output, errors


class _Output:
    """The beginning of what a program says; the rest is drained so that the program does not stall."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._kept = bytearray()
        self._stream = stream
        self.drained = in_thread(self._drain)

    def _drain(self) -> None:
        with self._stream as stream:
            while chunk := os.read(stream.fileno(), 8192):
                self._kept += chunk[: MAX_OUTPUT - len(self._kept)]

    @property
    def text(self) -> str:
        return bytes(self._kept).decode("utf-8", "replace").strip()
