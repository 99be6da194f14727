"""The keys that the bench shares with units, and who the bench is to them.

`Bonds` is what a radio works with; `MemoryBonds` last for one run, those of a station are in a file (`bond_store.py`).
Keys are octets in the order of the air, the least significant first. No `repr` shows one.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any, Literal, Protocol

import msgspec

from benchrig.errors import MalformedValue
from benchrig.values.address import KEY_SIZE, address_octets, address_text

AddressType = Literal["public", "random"]


class Secret(bytes):
    """Octets that nothing shows."""

    __slots__ = ()

    def __repr__(self) -> str:
        return f"<{len(self)} secret octets>"

    __str__ = __repr__


class LongTermKey(msgspec.Struct, frozen=True, omit_defaults=True):
    """`number` (EDIV) and `random` say of a legacy key which one it is; of Secure Connections they are zero."""

    key: Secret
    number: int | None = None
    random: Secret | None = None

    def __post_init__(self) -> None:
        _check_keys(self.key)


class Keys(msgspec.Struct, frozen=True, omit_defaults=True):
    """What the pairing gave. A key of Secure Connections (`ltk`) serves both ends; of legacy pairing each end gave one,
    `ltk_peripheral` is the unit's. The others are the unit's too."""

    ltk: LongTermKey | None = None
    ltk_central: LongTermKey | None = None
    ltk_peripheral: LongTermKey | None = None
    irk: Secret | None = None
    csrk: Secret | None = None

    def __post_init__(self) -> None:
        _check_keys(self.irk, self.csrk)


class Bond(msgspec.Struct, frozen=True, omit_defaults=True):
    """A unit by its identity address 'C0:12:…', or by the address that it had if it gave none. `radio` is the kind:
    virtual, hci."""

    address: str
    address_type: AddressType
    keys: Keys
    name: str = ""
    at: str = ""
    radio: str = ""
    method: str = ""
    authenticated: bool = False
    secure_connections: bool = False
    key_size: int = KEY_SIZE

    def __post_init__(self) -> None:
        _check_address(self.address)

    @property
    def unit(self) -> tuple[str, str]:
        """What makes it this unit's: public and random addresses may have the same octets."""
        return self.address, self.address_type

    @property
    def shown(self) -> dict[str, Any]:
        """All but the keys."""
        return {name: value for name, value in msgspec.structs.asdict(self).items() if name != "keys"}


class StationIdentity(msgspec.Struct, frozen=True):
    """Who the bench is to the units that it bonds with: a random static address, and the key (IRK) that it gives them."""

    address: str
    irk: Secret

    def __post_init__(self) -> None:
        _check_address(self.address)
        _check_keys(self.irk)

    @classmethod
    def of(cls, address: bytes, irk: bytes) -> StationIdentity:
        """From 6 and 16 octets, whatever they are (Core Vol 6 Part B 1.3.2.1: static addresses begin with two ones)."""
        return cls(address_text(address[:5] + bytes((address[5] | 0xC0,))), Secret(irk))

    @classmethod
    def new(cls) -> StationIdentity:
        return cls.of(secrets.token_bytes(6), secrets.token_bytes(16))

    @classmethod
    def simulated(cls, station: str) -> StationIdentity:
        """That of a station on the virtual radio: two stations differ, and each run of one is the same."""
        octets = hashlib.sha256(f"benchrig station {station}".encode()).digest()
        return cls.of(octets[:6], octets[6:22])


def _check_keys(*keys: Secret | None) -> None:
    """ValueError, without the key."""
    if any(key is not None and len(key) != KEY_SIZE for key in keys):
        raise ValueError(f"expected a key of {KEY_SIZE} octets")


def _check_address(address: str) -> None:
    try:
        address_octets(address)
    except MalformedValue as error:
        raise ValueError(error.message) from error


class Bonds(Protocol):
    """One bond a unit. StationError where the place of a store fails."""

    @property
    def identity(self) -> StationIdentity: ...

    def all(self) -> list[Bond]: ...

    def of(self, address: str, address_type: str) -> Bond | None: ...

    def keep(self, bond: Bond) -> None:
        """In place of the one that the unit had."""
        ...

    def forget(self, address: str, address_type: str) -> bool:
        """Whether there was one."""
        ...


class MemoryBonds:
    """Bonds that are gone with the run."""

    def __init__(self, identity: StationIdentity | None = None) -> None:
        self.identity = identity or StationIdentity.simulated("")
        self._bonds: list[Bond] = []

    def all(self) -> list[Bond]:
        return [*self._bonds]

    def of(self, address: str, address_type: str) -> Bond | None:
        return find(self._bonds, address, address_type)

    def keep(self, bond: Bond) -> None:
        self._bonds = kept(self._bonds, bond)

    def forget(self, address: str, address_type: str) -> bool:
        before, self._bonds = self._bonds, without(self._bonds, address, address_type)
        return len(self._bonds) < len(before)


def lasting(bonds: Bonds | None) -> bool:
    """Whether the bench is to units who it was in earlier runs, as far as is known: one of them may have a key of then."""
    return not isinstance(bonds, MemoryBonds)


def find(bonds: Iterable[Bond], address: str, address_type: str) -> Bond | None:
    return next((bond for bond in bonds if bond.unit == (address, address_type)), None)


def kept(bonds: Iterable[Bond], bond: Bond) -> list[Bond]:
    return [*without(bonds, *bond.unit), bond]


def without(bonds: Iterable[Bond], address: str, address_type: str) -> list[Bond]:
    return [bond for bond in bonds if bond.unit != (address, address_type)]


def now() -> str:
    """When a bond is made: its field `at`."""
    return datetime.now(UTC).isoformat(timespec="seconds")
