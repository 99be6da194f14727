"""Runs that wait for the history: a marker beside the folder, from the begin of a run on, until the history has it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from pathlib import Path

from benchrig.errors import StationError
from benchrig.history.place import Place
from benchrig.report.markers import Marker

_WAITING = Marker(".waiting")


def wait_for_history(folder: Path, place: Place) -> None:
    """The run in this folder is to come into this history. OSError."""
    _WAITING.of(folder).write_text(_name_of(place, folder.parent), "utf-8")


def waits_for(folder: Path, place: Place) -> bool:
    """Whether this is the history that the run in this folder waits for: one that has another is not that one's."""
    try:
        return _WAITING.of(folder).read_text("utf-8", "replace") in ("", _name_of(place, folder.parent))
    except OSError:
        return False


def forget(folders: Iterable[Path], place: Place | None = None) -> None:
    """They are in the history that they waited for. One whose marker cannot be taken away is only asked for again."""
    for folder in folders:
        if place is None or waits_for(folder, place):
            with contextlib.suppress(OSError):
                _WAITING.of(folder).unlink(missing_ok=True)


def waiting(results: Path) -> list[Path]:
    """The folders that wait, the oldest first. StationError."""
    if not results.is_dir():
        return []
    try:
        return sorted(_WAITING.marked(results))
    except OSError as error:
        raise StationError(f"the folder '{results}' cannot be read: {error.strerror or error}") from error


def _name_of(place: Place, results: Path) -> str:
    """A file below the results is named from there: they may be moved together."""
    if place.file is not None and (file := Path(place.name)).is_relative_to(below := results.resolve()):
        return file.relative_to(below).as_posix()
    return place.name
