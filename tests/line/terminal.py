"""The real command on a pseudo-terminal of 80 × 24, with a screen on which is to be seen what a person would see."""

from __future__ import annotations

import contextlib
import errno
import os
import select
import signal
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import pyte

from tests.cli.kit import COMMAND, on_pty

COLUMNS, ROWS = 80, 24
PATIENCE = 30.0
SOON = 5.0


class LineTerminal:
    """`with LineTerminal(folder, "line", "run", "line.yaml") as terminal:` What is typed comes as a barcode reader types it: at
    once, with Enter."""

    def __init__(
        self,
        cwd: Path,
        *arguments: str,
        columns: int = COLUMNS,
        rows: int = ROWS,
        command: Sequence[str] = COMMAND,
        **env: str,
    ) -> None:
        self.screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self.screen)
        self.written = bytearray()
        self.process, self._master = on_pty([*command, *arguments], cwd, columns, rows, env)

    def __enter__(self) -> LineTerminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def lines(self) -> list[str]:
        return [line.rstrip() for line in self.screen.display]

    @property
    def text(self) -> str:
        """All that is on the screen, words of broken lines joined."""
        return " ".join(" ".join(self.lines).split())

    def scan(self, text: str) -> None:
        data = text.encode() + b"\r"
        for begin in range(0, len(data), 1024):  # a terminal takes no more at once
            os.write(self._master, data[begin : begin + 1024])
            self.look(0.0)

    def look(self, seconds: float = 0.02) -> bool:
        """Whether anything was written meanwhile."""
        if not select.select([self._master], [], [], seconds)[0]:
            return False
        try:
            data = os.read(self._master, 65536)
        except OSError as exc:
            if exc.errno != errno.EIO:  # what Linux says when the other side is closed
                raise
            return False
        self.written += data
        self._stream.feed(data)
        return bool(data)

    def look_for(self, seconds: float) -> None:
        """So long, whatever is written."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            self.look()

    def until(self, seen: Callable[[], object], what: str) -> None:
        """Look until it is seen. AssertionError with the whole screen."""
        deadline = time.monotonic() + PATIENCE
        while not seen():
            shown = "\n".join(self.lines)
            assert self.process.poll() is None or seen(), f"it ended before {what}:\n{shown}"
            assert time.monotonic() < deadline, f"not seen: {what}; the screen:\n{shown}"
            self.look()

    def soon(self, seen: Callable[[], object]) -> bool:
        """Whether it is seen in a few seconds: the text of a slot is painted after its word."""
        deadline = time.monotonic() + SOON
        while not seen() and time.monotonic() < deadline:
            self.look()
        return bool(seen())

    def end(self) -> int:
        """Look until the process has ended; its exit code."""
        deadline = time.monotonic() + PATIENCE
        while self.look(0.1) or self.process.poll() is None:
            assert time.monotonic() < deadline, "it does not end:\n" + "\n".join(self.lines)
        return self.process.wait()

    def close(self) -> None:
        """The power fails, if it runs still."""
        if self.process.poll() is None:
            with contextlib.suppress(ProcessLookupError):
                self.process.send_signal(signal.SIGKILL)
            self.process.wait()
        if self._master >= 0:
            os.close(self._master)
            self._master = -1
