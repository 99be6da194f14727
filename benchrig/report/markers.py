"""Markers beside the folders of runs: hidden files of their names, which say that something of a run is still to be done."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple


class Marker(NamedTuple):
    """Of one kind, by its suffix."""

    suffix: str

    def of(self, folder: Path) -> Path:
        """The marker of the run in this folder, whether it is there or not."""
        return folder.with_name(f".{folder.name}{self.suffix}")

    def marked(self, results: Path) -> list[Path]:
        """The folders with such a marker, in no order. OSError."""
        with os.scandir(results) as entries:
            names = [each.name for each in entries if each.name.startswith(".") and each.name.endswith(self.suffix)]
        return [results / name[1:].removesuffix(self.suffix) for name in names]
