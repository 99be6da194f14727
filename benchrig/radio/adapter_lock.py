"""One benchrig at a time on an adapter of this machine, and what the last one left behind when it died.

The file of the lock names the devices that its process is connected to and those it has paired, and what it has changed of
the adapter; with a dead process these are links, bonds and settings that nobody owns. No key stands in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from benchrig.radio import lock_file
from benchrig.radio.lock_file import Holder, LockFile, Radio

_LISTS = ("connected", "met", "paired", "changed")


class AdapterLock:
    """Held from `take` to `release`. `left` are the addresses that the last holder was connected to when it died, `met`
    those of which the system may remember what a benchrig has read; whoever lets the system forget takes them out. `paired`
    are the addresses that a benchrig has paired with, `changed` the settings of the adapter that it has to put back.
    `waited` are the seconds until another one had let go."""

    def __init__(self, lock: LockFile) -> None:
        self._lock, self.waited = lock, lock.waited
        self._connected: set[str] = set()
        said = {name: _texts(lock.left, name) for name in _LISTS}
        self.left = said["connected"]
        self.met = {*said["connected"], *said["met"]}
        self.paired, self.changed = set(said["paired"]), set(said["changed"])
        self.write()

    @classmethod
    async def take(cls, adapter: str, within: float) -> AdapterLock:
        """Wait for it. StationError when another process has it all the while, or it cannot be made."""
        advice = "end it, or take another adapter: --radio host:ADAPTER"
        return cls(await LockFile.take(Radio(adapter, f"the adapter '{adapter}'", advice), within))

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
        self._lock.release()

    def write(self) -> None:
        """What is left is said before it is done: a process may die at any time. On a full disk links are found by what
        BlueZ says alone."""
        lists = (self._connected, self.met, self.paired, self.changed)
        self._lock.say({name: [*each] for name, each in zip(_LISTS, lists, strict=True)})


def holder(adapter: str) -> Holder | None:
    """The benchrig that uses the adapter now; None when nobody does."""
    return lock_file.holder(adapter)


def _texts(said: Mapping[str, Any], name: str) -> tuple[str, ...]:
    """Nothing where something else stands there."""
    texts = said.get(name, ())
    return tuple(map(str, texts)) if isinstance(texts, list) else ()
