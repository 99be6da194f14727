"""console.log: what a console printed and was sent, on the clock of the run."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from benchrig.source.problem import counted
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.console.lines import Line

# In octets, of one file. The first file is kept, and the last two: a soak fills no disk, and keeps how it began and ended.
MOST_FILE = 4 * 1024 * 1024
# In characters, of one line in the file.
LONGEST = 1000
_KEPT_LAST = 2


@dataclass(frozen=True)
class Keeping:
    """Where a run keeps its consoles: the folder, the time on the loop's clock at which the run began, and what takes secrets
    out of a text."""

    folder: Path
    began: float
    hide: Callable[[str], str] = field(default=lambda text: text)


@dataclass
class _File:
    path: Path
    first: int  # number of the first line in it
    size: int = 0


class ConsoleLog:
    """The files of one console: NAME.log, NAME.2.log, … The first one is made with the first line."""

    def __init__(self, keeping: Keeping, name: str = "console") -> None:
        self._keeping, self._name = keeping, name
        self._files: list[_File] = []
        self._open: BinaryIO | None = None
        self._made = 0
        self._last = 0
        self._dropped: list[tuple[int, int]] = []
        self._trouble = ""

    @property
    def name(self) -> str:
        """Of the first file."""
        return f"{self._name}.log"

    def add(self, lines: Sequence[Line]) -> None:
        """A disk that takes no more does not end the run: what is missing is told afterwards."""
        for line in lines:
            self._write(self._shown(line.at, " ", line.text), line.number)

    def sent(self, at: float, text: str) -> None:
        self._write(self._shown(at, ">", text), self._last + 1)

    def _shown(self, at: float, mark: str, text: str) -> bytes:
        hidden = plain(self._keeping.hide(text), LONGEST)
        return f"{at - self._keeping.began:14.6f} {mark} {hidden}\n".encode("utf-8", "backslashreplace")

    def _write(self, shown: bytes, number: int) -> None:
        self._last = max(self._last, number)
        if self._trouble:
            return
        try:
            file = self._with_room(len(shown), number)
            assert self._open is not None
            self._open.write(shown)
            file.size += len(shown)
        except OSError as exc:
            self._trouble = exc.strerror or str(exc)
            self._dropped.append((number, 0))

    def flush(self) -> None:
        if self._open is not None and not self._trouble:
            try:
                self._open.flush()
            except OSError as exc:
                self._trouble = exc.strerror or str(exc)

    def _with_room(self, size: int, number: int) -> _File:
        if self._open is None or self._files[-1].size + size > MOST_FILE:
            self._next(number)
        return self._files[-1]

    def _next(self, number: int) -> None:
        self._made += 1
        name = self.name if self._made == 1 else f"{self._name}.{self._made}.log"
        if self._open is not None:
            self._open.close()
        self._open = (self._keeping.folder / name).open("wb")
        self._files.append(_File(self._keeping.folder / name, number))
        if len(self._files) > 1 + _KEPT_LAST:
            gone = self._files.pop(1)
            self._dropped.append((gone.first, self._files[1].first - 1))
            os.unlink(gone.path)

    def close(self) -> None:
        if self._open is not None:
            self.flush()
            self._open.close()

    def remark(self) -> str:
        """For the record: what is kept, and what is not; '' when nothing was printed."""
        if not self._made and not self._trouble:
            return ""
        said = f"{self.name}: {counted(self._last, 'line')}"
        if self._trouble:
            return f"{said}; it is not complete: {self._trouble}"
        if not self._dropped:
            return said
        return f"{said}; lines {self._dropped[0][0]} to {self._dropped[-1][1]} are not kept"
