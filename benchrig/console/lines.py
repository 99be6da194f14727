"""Octets -> lines. Whatever they are: binary, a line without end, no line end at all."""

from __future__ import annotations

from typing import NamedTuple

# In octets. What is longer goes on as the next line, so that nothing is lost.
LONGEST = 4096


class Line(NamedTuple):
    """`number` counts from 1, `at` is on the loop's clock."""

    number: int
    at: float
    text: str


class Splitter:
    """Takes octets as they come, gives the lines that are whole. Empty lines are left out, so every mix of CR and LF ends a
    line once."""

    def __init__(self) -> None:
        self._rest = b""

    @property
    def is_open(self) -> bool:
        """Whether a line has begun that nothing has ended yet."""
        return bool(self._rest)

    def feed(self, data: bytes) -> list[str]:
        *whole, self._rest = (self._rest + data).replace(b"\r", b"\n").split(b"\n")
        lines = [piece for line in whole for piece in _pieces(line)]
        if len(self._rest) > LONGEST:
            *full, self._rest = _pieces(self._rest)
            lines += full
        return [_text(line) for line in lines]

    def end(self) -> list[str]:
        """What has begun is a line too."""
        rest, self._rest = self._rest, b""
        return [_text(rest)] if rest else []


def _pieces(line: bytes) -> list[bytes]:
    if len(line) <= LONGEST:
        return [line] if line else []
    return [line[at : at + LONGEST] for at in range(0, len(line), LONGEST)]


def _text(line: bytes) -> str:
    """What is no UTF-8 becomes escapes, so that two different lines stay different."""
    return line.decode("utf-8", "backslashreplace")
