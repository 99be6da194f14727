"""Runs that wait for the history: a marker beside the folder, from the begin of a run on, until the history has it."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from pathlib import Path

from benchrig.errors import StationError

_MARKER = ".waiting"


def wait_for_history(folder: Path) -> None:
    """The run in this folder is to come into a history. OSError."""
    _marker_of(folder).touch()


def forget(folders: Iterable[Path]) -> None:
    """They are in the history. One whose marker cannot be taken away is only asked for again."""
    for folder in folders:
        with contextlib.suppress(OSError):
            _marker_of(folder).unlink(missing_ok=True)


def waiting(results: Path) -> list[Path]:
    """The folders that wait, the oldest first. StationError."""
    if not results.is_dir():
        return []
    try:
        with os.scandir(results) as entries:
            names = [each.name for each in entries if each.name.startswith(".") and each.name.endswith(_MARKER)]
    except OSError as error:
        raise StationError(f"the folder '{results}' cannot be read: {error.strerror or error}") from error
    return [results / name[1:].removesuffix(_MARKER) for name in sorted(names)]


def _marker_of(folder: Path) -> Path:
    return folder.with_name(f".{folder.name}{_MARKER}")
