"""What the pages of escapes, rejects and runs that are judged again have: a head, titles."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.cli.text_page import TextPage
from benchrig.text.tables import print_line

if TYPE_CHECKING:
    from benchrig.escapes.results import Tried


class StudyPage(TextPage):
    def _head(self, tried: Tried, how: str) -> None:
        self._line(f"plan    {tried.plan} ({tried.plan_file})")
        self._line(f"device  {tried.device} ({', '.join(tried.device_files)}), {how}")

    def _title(self, text: str, style: str) -> None:
        self._console.print()
        print_line(self._console, (text, style))
