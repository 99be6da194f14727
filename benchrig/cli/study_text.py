"""What the pages of escapes and rejects are printed with: one console, titles, lines of plain text."""

from __future__ import annotations

from benchrig.escapes.results import Tried
from benchrig.terminal import console
from benchrig.text.escape import plain
from benchrig.text.tables import print_line

LONGEST = 1000


class StudyPage:
    """Prints in the width and the character set of one console."""

    def __init__(self) -> None:
        self._console = console()

    def _head(self, tried: Tried, how: str) -> None:
        self._line(f"plan    {tried.plan} ({tried.plan_file})")
        self._line(f"device  {tried.device} ({', '.join(tried.device_files)}), {how}")

    def _title(self, text: str, style: str) -> None:
        self._console.print()
        print_line(self._console, (text, style))

    def _line(self, text: str, *, indent: int = 0, style: str = "") -> None:
        print_line(self._console, (plain(text, LONGEST), style), indent=indent)
