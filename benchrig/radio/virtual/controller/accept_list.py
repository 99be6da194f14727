"""The devices whose packets a controller processes where a filter policy says so (Core Vol 6 Part B 4.3.1)."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import hci

ANONYMOUS = 0xFF  # those that advertise without an address: none does here


class AcceptList:
    """At most so many devices, each by its address and the type of that."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._devices: dict[tuple[int, bytes], None] = {}

    def has(self, address: hci.Address) -> bool:
        return _key(0 if address.is_public else 1, address) in self._devices

    def add(self, kind: int, address: hci.Address) -> bool:
        """Whether there was room; one that is there already is not added again (Core Vol 4 Part E 7.8.16)."""
        key = _key(kind, address)
        if key not in self._devices and len(self._devices) >= self._size:
            return False
        self._devices[key] = None
        return True

    def remove(self, kind: int, address: hci.Address) -> None:
        self._devices.pop(_key(kind, address), None)

    def clear(self) -> None:
        self._devices.clear()


def _key(kind: int, address: hci.Address) -> tuple[int, bytes]:
    """The address of those that have none is ignored."""
    return (kind, b"") if kind == ANONYMOUS else (kind & 1, bytes(address))
