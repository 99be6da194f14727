"""What is printed as a page: lines of plain text, in the width and the character set of one console."""

from __future__ import annotations

from typing import ClassVar

from benchrig.terminal import console
from benchrig.text.escape import plain
from benchrig.text.tables import print_line

LONGEST = 1000


class TextPage:
    # characters of a line that somebody else may have written a part of
    longest: ClassVar[int] = LONGEST

    def __init__(self) -> None:
        self._console = console()

    def _line(self, text: str, style: str = "", *, indent: int = 0) -> None:
        print_line(self._console, (plain(text, self.longest), style), indent=indent)

    def _banner(self, text: str) -> None:
        """What nobody may overlook; nothing for ''."""
        if text:
            print_line(self._console, (text, "bold reverse"))
