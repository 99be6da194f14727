"""What stands on a terminal after all that was written to it: as much of one as the live views use."""

from __future__ import annotations

import fcntl
import re
import struct
import termios
from typing import Any

from rich.cells import cell_len

from tests.cli.kit import Terminal

_WORD = re.compile(r"\x1b\[(\??)([0-9;]*)([A-Za-z])|[^\x1b]+|\x1b")


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
            elif self.alternate:
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
            line, column = (numbers or "1;1").split(";")
            assert column == "1"
            self._at = int(line) - 1
        elif (letter, numbers) == ("J", "2"):
            self.lines = [""] * len(self.lines)
        elif (letter, numbers) == ("K", "2"):
            self.lines[self._at] = ""
        else:
            assert letter == "m", f"an unknown control: {private}{numbers}{letter}"

    @property
    def text(self) -> str:
        return "\n".join(self.lines)


def resize(terminal: Terminal, columns: int, lines: int = 40) -> None:
    fcntl.ioctl(terminal.master, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))


def mode(terminal: Terminal) -> list[Any]:
    """How the terminal treats what is typed."""
    return termios.tcgetattr(terminal.master)
