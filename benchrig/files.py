"""Files that were asked for: one that is written gets to its place whole, or what stood there stays."""

from __future__ import annotations

import contextlib
import os
import stat
import sys
from pathlib import Path
from typing import BinaryIO

from benchrig.errors import StationError, UsageError


def write_whole(
    path: Path, data: bytes, *, advice: str = "choose another place with --results", mode: int = 0o666
) -> None:
    """Write a file so that it is whole, or as it was; `mode` is what is allowed at most, before the user's own mask.
    StationError when it cannot be written."""
    try:
        if is_special(path):
            path.write_bytes(data)
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            _replace(Path(os.path.realpath(path)), data, mode)
    except OSError as exc:
        raise cannot_write(path, exc, advice) from exc


def _replace(path: Path, data: bytes, mode: int) -> None:
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        os.close(os.open(beside, os.O_WRONLY | os.O_CREAT, mode))
        beside.write_bytes(data)
        beside.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def cannot_write(path: Path, exc: OSError, advice: str) -> StationError:
    return StationError(f"{path} cannot be written: {exc.strerror or exc}", advice=advice)


def held(file: BinaryIO, *, wait: bool = True) -> bool:
    """Lock an open file for this process, until it is closed or the process is gone. False when another one has it, or the
    file system knows no locks."""
    try:
        _lock(file.fileno(), wait=wait)
    except OSError:
        return False
    return True


if sys.platform == "win32":
    import msvcrt

    def _lock(file: int, *, wait: bool) -> None:
        os.lseek(file, 0, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(file: int, *, wait: bool) -> None:
        fcntl.flock(file, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)


def is_special(path: Path) -> bool:
    """Whether it is there and neither a file nor a folder: a pipe, /dev/stdout."""
    with contextlib.suppress(OSError):
        mode = path.stat().st_mode
        return not stat.S_ISREG(mode) and not stat.S_ISDIR(mode)
    return False


def writable(path: Path, *, force: bool) -> None:
    """See that a file can be made, before anything is done that would be lost with it; what is there is written over
    with `force` only. UsageError."""
    if path.is_dir():
        raise UsageError(f"'{path}' is a folder", advice="name a file")
    if os.path.lexists(path) and not force:
        raise UsageError(f"'{path}' already exists", advice="choose another name, or write over it with --force")
    if not path.absolute().parent.is_dir():
        raise UsageError(f"there is no folder '{path.parent}'", advice="make it first")


def read_bounded(path: Path, most: int, too_long: str = "") -> bytes:
    """The bytes of a file that may be something else, a device without an end. UsageError; `too_long` says why there
    may be no more bytes."""
    try:
        with path.open("rb") as file:
            data = file.read(most + 1)
    except OSError as error:
        raise UsageError(f"'{path}' cannot be read: {error.strerror or error}") from error
    if len(data) > most:
        said = f"has more than {most} bytes, {too_long}" if too_long else f"holds more than {most // 1024} KiB"
        raise UsageError(f"'{path}' {said}", advice="give another file")
    return data
