"""What stands on a terminal after all that was written to it: as much of one as the live views use. And a terminal in
this process, with somebody at it who waits for a text and then presses keys."""

from __future__ import annotations

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

# In place of keys: the window becomes 100 cells wide.
GROW = "grow"
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
        self._keys, self._script = keys, script

    def flush(self) -> None:
        super().flush()
        self.screen.feed(self.stream.getvalue())
        self.stream.seek(0)
        self.stream.truncate()
        while self._script and self._script[0][0] in self.screen.text:
            self.seen.append(self.screen.text)
            self._do(self._script.pop(0)[1])

    def _do(self, keys: str) -> None:
        if keys == GROW:
            self.columns = self.screen.columns = 100
        else:
            self._keys.send_text(keys)


@contextlib.contextmanager
def played(*script: tuple[str, str], columns: int = 100, lines: int = 40) -> Iterator[Played]:
    """The terminal of this process."""
    with create_pipe_input() as keys:
        output = Played(keys, [*script], columns, lines)
        with create_app_session(input=keys, output=output):
            yield output


def live(*words: object, script: Sequence[tuple[str, str]], columns: int = 100) -> tuple[Result, Played]:
    """Run a command with a live view in this process, and who sits before it."""
    with played(*script, columns=columns) as terminal, mock.patch("benchrig.cli.live.is_possible", return_value=True):
        return call(*words), terminal


def mode(terminal: Terminal) -> list[Any]:
    """How the terminal treats what is typed."""
    return termios.tcgetattr(terminal.master)
