"""A folder for a moment. The process keeps it and uses it again, for to make and remove one takes as long as a short plan."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_IN_MEMORY = "/dev/shm"  # of Linux: a few files of some kilobytes
_free: list[str] = []


@contextmanager
def scratch() -> Iterator[Path]:
    """An empty folder; one within another is another one."""
    folder = _free.pop() if _free else _made()
    try:
        yield Path(folder)
    finally:
        _empty(folder)
        _free.append(folder)


def _made() -> str:
    folder = tempfile.mkdtemp(prefix="benchrig-scratch-", dir=_IN_MEMORY if os.access(_IN_MEMORY, os.W_OK) else None)
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _empty(folder: str) -> None:
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                shutil.rmtree(entry.path)
            else:
                os.unlink(entry.path)
