"""One benchrig at a time on an adapter of this machine, and what the last one left behind when it died.

The lock is the system's own (flock): it goes with its process, however that ends. The file beside it names the process,
the devices it is connected to and those it has paired, and what it has changed of the adapter; with a dead process these
are links, bonds and settings that nobody owns. No key stands in it.
"""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import json
import os
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from benchrig.errors import StationError

LOOK_EVERY = 0.1
_SHARED = Path("/run/lock")


def folder() -> Path:
    """Where all programs of this machine find it; where that is closed to us, those of this user."""
    own = os.environ.get("XDG_RUNTIME_DIR")
    places = [_SHARED, *([Path(own)] if own else []), Path(tempfile.gettempdir())]
    return next((place for place in places if place.is_dir() and os.access(place, os.W_OK | os.X_OK)), places[-1])


@dataclass(frozen=True)
class _Said:
    """What stands in the file."""

    process: int = 0
    connected: tuple[str, ...] = ()
    met: tuple[str, ...] = ()
    paired: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()


class AdapterLock:
    """Held from `take` to `release`. `left` are the addresses that the last holder was connected to when it died, `met`
    those of which the system may remember what a benchrig has read; whoever lets the system forget takes them out. `paired`
    are the addresses that a benchrig has paired with, `changed` the settings of the adapter that it has to put back."""

    def __init__(self, descriptor: int, said: _Said) -> None:
        self._descriptor = descriptor
        self._connected: set[str] = set()
        self.left = said.connected
        self.met = {*said.connected, *said.met}
        self.paired, self.changed = set(said.paired), set(said.changed)
        self.write()

    @classmethod
    async def take(cls, adapter: str, within: float) -> AdapterLock:
        """Wait for it. StationError when another process has it all the while, or it cannot be made."""
        path = folder() / f"benchrig-{adapter}.lock"
        try:
            descriptor = _opened(path)
        except OSError as exc:
            raise StationError(
                f"the lock of the adapter, {path}, cannot be opened: {exc.strerror}",
                advice="remove it, or let this user write to it",
            ) from exc
        try:
            await _locked(descriptor, adapter, within)
            return cls(descriptor, _read(descriptor))
        except BaseException:
            os.close(descriptor)
            raise

    def connected(self, address: str) -> None:
        self._connected.add(address)
        self.met.add(address)
        self.write()

    def still(self, connected: Iterable[str]) -> None:
        """Those of the devices that the system is connected to now: an end that was asked for may not have come yet."""
        self._connected.intersection_update(connected)
        self.write()

    def release(self) -> None:
        """Let the next one have it, with what is left connected."""
        self.write()
        os.close(self._descriptor)

    def write(self) -> None:
        """What is left is said before it is done: a process may die at any time."""
        lists = (self._connected, self.met, self.paired, self.changed)
        said = json.dumps(asdict(_Said(os.getpid(), *map(tuple, lists)))).encode()
        with contextlib.suppress(OSError):  # a full disk: links are found then by what BlueZ says alone
            os.pwrite(self._descriptor, said, 0)
            os.ftruncate(self._descriptor, len(said))


def holder(adapter: str) -> int | None:
    """The process of the benchrig that uses the adapter now, 0 for one that does not say; None when nobody does."""
    try:
        descriptor = os.open(folder() / f"benchrig-{adapter}.lock", os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        return None
    except BlockingIOError:
        return _read(descriptor).process
    finally:
        os.close(descriptor)


def _opened(path: Path) -> int:
    """For every user of the machine; a link that somebody laid is not followed."""
    flags = os.O_RDWR | os.O_NOFOLLOW | os.O_CLOEXEC
    try:
        return os.open(path, flags)  # in a shared folder the kernel refuses O_CREAT for the file of another user
    except FileNotFoundError:
        descriptor = os.open(path, flags | os.O_CREAT, 0o666)
        with contextlib.suppress(OSError):
            os.fchmod(descriptor, 0o666)
        return descriptor


async def _locked(descriptor: int, adapter: str, within: float) -> None:
    loop = asyncio.get_running_loop()
    deadline = loop.time() + within
    while True:
        with contextlib.suppress(BlockingIOError):
            return fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if loop.time() >= deadline:
            process = _read(descriptor).process
            who = f"another benchrig (process {process})" if process else "another benchrig"
            raise StationError(
                f"{who} is using the adapter '{adapter}', and did not end in {within:g} s",
                advice="end it, or take another adapter: --radio host:ADAPTER",
            )
        await asyncio.sleep(LOOK_EVERY)


def _read(descriptor: int) -> _Said:
    """Nothing where something else stands there."""
    try:
        said = json.loads(os.pread(descriptor, 65536, 0))
        lists = ("connected", "met", "paired", "changed")
        return _Said(int(said["process"]), *(tuple(map(str, said.get(name, ()))) for name in lists))
    except (OSError, ValueError, KeyError, TypeError):
        return _Said()
