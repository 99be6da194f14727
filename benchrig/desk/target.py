"""Where a command may write a file that was asked for."""

from __future__ import annotations

import os
from pathlib import Path

from benchrig.errors import UsageError


def writable(path: Path, *, force: bool) -> None:
    """See that a file can be made, before anything is done that would be lost with it; what is there is written over
    with `force` only. UsageError."""
    if path.is_dir():
        raise UsageError(f"'{path}' is a folder", advice="name a file")
    if os.path.lexists(path) and not force:
        raise UsageError(f"'{path}' is there already", advice="choose another name, or write over it with --force")
    if not path.absolute().parent.is_dir():
        raise UsageError(f"there is no folder '{path.parent}'", advice="make it first")


def read_bounded(path: Path, most: int) -> bytes:
    """The bytes of a file that may be something else, a device without an end. UsageError."""
    try:
        with path.open("rb") as file:
            data = file.read(most + 1)
    except OSError as error:
        raise UsageError(f"'{path}' cannot be read: {error.strerror or error}") from error
    if len(data) > most:
        raise UsageError(f"'{path}' holds more than {most // 1024} KiB", advice="give another file")
    return data
