"""Who a link to a pseudo terminal belongs to: a file beside it, locked by the process that made the link.

The lock goes with its process, the file stays when that was killed: it says which link may be replaced.
"""

from __future__ import annotations

import os
from pathlib import Path

from benchrig.errors import StationError


class PathLock:
    """Make it with `take`, end it with `release`. `left` is where the link of a process that was killed leads to, '' when
    there was none."""

    def __init__(self, path: Path, fd: int) -> None:
        self._path = path
        self._fd = fd
        self.left = os.pread(fd, 4096, 0).decode("utf-8", "replace").partition("\n")[2].strip()

    @classmethod
    def take(cls, link: Path) -> PathLock:
        """Raises StationError when another process has it, OSError when the file cannot be made."""
        path = link.with_name(link.name + ".lock")
        while True:
            fd = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
            try:
                _lock(fd, link)
                if _is_at(fd, path):  # and not one that was let go a moment ago
                    return cls(path, fd)
            except BaseException:
                os.close(fd)
                raise
            os.close(fd)

    def leads_to(self, terminal: str) -> None:
        """The link is this process's own, and leads there."""
        os.ftruncate(self._fd, 0)
        os.pwrite(self._fd, f"{os.getpid()}\n{terminal}\n".encode(), 0)

    def release(self) -> None:
        self._path.unlink(missing_ok=True)
        os.close(self._fd)


def _lock(fd: int, link: Path) -> None:
    import fcntl

    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.pread(fd, 32, 0).split(b"\n")[0].decode("ascii", "replace")
        raise StationError(
            f"--port pty:{link} is in use by another run (process {holder or 'unknown'})",
            advice="end that run, or choose another path",
        ) from None


def _is_at(fd: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(fd), path.stat())
    except FileNotFoundError:
        return False
