"""What stands on a terminal after all that was written to it: as much of one as the live views use. And a terminal in
this process, with somebody at it who waits for a text and then presses keys."""

from __future__ import annotations

import asyncio
import contextlib
import io
import re
import termios
from collections.abc import Iterator, Sequence
from typing import Any
from unittest import mock

from click.testing import Result
from prompt_toolkit.application import create_app_session
from prompt_toolkit.data_structures import Size
from prompt_toolkit.input import PipeInput, create_pipe_input
from prompt_toolkit.output.vt100 import Vt100_Output
from rich.cells import cell_len

from tests.cli.calling import call
from tests.cli.kit import Terminal

_CONTROL = re.compile(r"\x1b\[[?0-9;]*[A-Za-z]")
# In place of keys: the window becomes 100 cells wide.
GROW = "grow"
# Ctrl-C again and again, as people press it, until what is waited for next comes.
CTRL_C_AGAIN = "again"
_WORD = re.compile(r"\x1b\[(\??)([0-9;]*)([A-Za-z])|\r|[^\x1b\r]+|\x1b")


class Emulated:
    """The lines of a screen. Anything that it does not know, and a line that is too long, fails the test."""

    def __init__(self, columns: int = 100, lines: int = 40) -> None:
        self.columns = columns
        self.lines = [""] * lines
        self.alternate = False
        self.cursor_shown = self.wraps = True
        self._at = 0

    def feed(self, text: str) -> Emulated:
        """Everything from the alternate screen on; what is written outside it is left out."""
        for match in _WORD.finditer(text):
            if match[3]:
                self._control(match[1], match[2], match[3])
            elif self.alternate and match[0] != "\r":
                assert match[0].isprintable(), f"written as it is: {match[0]!r}"
                self.lines[self._at] += match[0]
                assert cell_len(self.lines[self._at]) <= self.columns, f"too long: {self.lines[self._at]!r}"
        return self

    def _control(self, private: str, numbers: str, letter: str) -> None:
        if private:
            on = letter == "h"
            name = {"1049": "alternate", "25": "cursor_shown", "7": "wraps"}.get(numbers)
            if name:
                setattr(self, name, on)
        elif not self.alternate:
            return
        elif letter == "H":
            assert numbers in ("", "0;0")
            self._at = 0
        elif letter == "B":
            self._at += int(numbers or 1)
            assert self._at < len(self.lines)
        elif (letter, numbers) == ("J", "2"):
            self.lines = [""] * len(self.lines)
        elif (letter, numbers) == ("K", ""):  # always from the first cell on
            self.lines[self._at] = ""
        else:
            assert letter == "m", f"an unknown control: {private}{numbers}{letter}"

    @property
    def text(self) -> str:
        return "\n".join(self.lines)


class Played(Vt100_Output):
    """A screen, and who sits before it: when a text stands there, the keys that follow it are pressed."""

    def __init__(self, keys: PipeInput, script: list[tuple[str, str]], columns: int = 100, lines: int = 40) -> None:
        self.stream = io.StringIO()
        super().__init__(self.stream, lambda: Size(rows=self.rows, columns=self.columns), enable_cpr=False)
        self.columns, self.rows = columns, lines
        self.screen = Emulated(columns, lines)
        self.seen: list[str] = []
        self.raw = self.written = self.all_written = ""
        self._keys, self._script = keys, script

    def flush(self) -> None:
        super().flush()
        written = self.stream.getvalue()
        self.stream.seek(0)
        self.stream.truncate()
        self.screen.feed(written)
        self.raw += written
        self.all_written += _CONTROL.sub("", written)
        self.written += _CONTROL.sub("", written)
        while self._script and self._comes(self._script[0][0]):
            self._do(self._script.pop(0)[1])

    @property
    def is_done(self) -> bool:
        return not self._script

    def _comes(self, text: str) -> bool:
        """Whether it stands on the screen; without a screen: whether it was written since what came before it."""
        if not self.screen.alternate:
            before, found, after = self.written.partition(text)
            self.written = after if found else before
            return bool(found) or not text
        if text in self.screen.text:
            self.seen.append(self.screen.text)
        return text in self.screen.text

    def _do(self, keys: str) -> None:
        if keys == GROW:
            self.columns = self.screen.columns = 100
        elif keys == CTRL_C_AGAIN:
            self._again(len(self._script))
        else:
            self._keys.send_text(keys)

    def _again(self, left: int) -> None:
        if len(self._script) == left:
            self._keys.send_text("\x03")
            asyncio.get_running_loop().call_later(0.1, self._again, left)


@contextlib.contextmanager
def played(*script: tuple[str, str], columns: int = 100, lines: int = 40) -> Iterator[Played]:
    """The terminal of this process."""
    with create_pipe_input() as keys:
        output = Played(keys, [*script], columns, lines)
        with create_app_session(input=keys, output=output):
            yield output


def attended(
    *words: object, script: Sequence[tuple[str, str]], columns: int = 100, term: str = "xterm"
) -> tuple[Result, Played]:
    """Run a command in this process, with somebody at its terminal."""
    with (
        played(*script, columns=columns) as terminal,
        mock.patch("benchrig.terminal.attended", return_value=True),
        mock.patch.dict("os.environ", {"TERM": term}),
    ):
        return call(*words), terminal


def mode(terminal: Terminal) -> list[Any]:
    """How the terminal treats what is typed."""
    return termios.tcgetattr(terminal.master)
