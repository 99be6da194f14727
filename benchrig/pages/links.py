"""Links from a page to the pages of runs: relative ones, which hold when results are moved with the page."""

from __future__ import annotations

import os
from pathlib import Path, PurePath

from benchrig.history.opening import History
from benchrig.html.elements import Child, link
from benchrig.report.files.page import REPORT


class Links:
    """Of a page that is written to `page`."""

    def __init__(self, history: History, page: Path) -> None:
        self._history = history
        self._from = page.absolute().parent

    def run(self, text: str, folder: str) -> Child:
        """To the page of a run; to its folder where it has none, and the text alone where that is gone."""
        found = self._history.folder(folder)
        for path in (found / REPORT.file_name, found):
            if folder and path.exists() and (relative := self._relative(path)):
                return link(text, relative)
        return text

    def _relative(self, path: Path) -> str:
        real, page = os.path.realpath(path), os.path.realpath(self._from)
        if PurePath(real).is_relative_to(page):  # whichever link leads to both
            return PurePath(real).relative_to(page).as_posix()
        try:
            return PurePath(os.path.relpath(path.absolute(), self._from)).as_posix()
        except ValueError:  # on another drive of Windows
            return ""
