"""What makes a device this one and no other."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Protocol

from benchrig.errors import MalformedValue
from benchrig.values.address import kind_of_random, resolves

# Private addresses change while the device stays the same (Core Vol 6 Part B 1.3.2.2).
_PRIVATE = ("resolvable private", "non-resolvable private")


class Addressed(Protocol):
    """What was heard of a device, as far as it tells one from another."""

    @property
    def address(self) -> str: ...

    @property
    def address_type(self) -> str: ...

    @property
    def identity(self) -> str: ...


@dataclass(frozen=True)
class Identity:
    """A device that was found: its address with the type, its serial number once that was read, and the key (IRK, 16
    octets) with which its private addresses were made, where the plan knows it. `bonded_as` is its identity address while
    the radio has a bond with it."""

    address: str
    address_type: str = ""
    serial: str = ""
    key: bytes | None = field(default=None, repr=False)
    bonded_as: str = ""

    @classmethod
    def of(cls, sighting: Addressed, key: bytes | None = None) -> Identity:
        return cls(sighting.address, sighting.address_type, key=key, bonded_as=sighting.identity)

    @property
    def identity(self) -> str:
        return self.bonded_as

    @property
    def rotates(self) -> bool:
        """Whether the device may come back under another address, which then has to be proven."""
        return is_private(self)

    @property
    def is_known(self) -> bool:
        """Whether the addresses that it changes to are known for its own."""
        return self.key is not None or bool(self.bonded_as)

    def is_same(self, sighting: Addressed) -> bool:
        """Whether this is the device, without a doubt: the same address, one that was made with its key, or one of the
        device that the radio is bonded with."""
        if self.bonded_as and self.bonded_as in (sighting.identity, sighting.address.upper()):
            return True
        if self.key is not None and was_made_with(self.key, sighting.address):
            return True
        return self.address.upper() == sighting.address.upper() and (
            not (self.address_type and sighting.address_type) or self.address_type == sighting.address_type
        )

    def is_another(self, sighting: Addressed) -> bool:
        """Whether this is another device, without a doubt: one of them keeps its address for life, or its key would show."""
        if self.is_same(sighting):
            return False
        if self.key is not None or (self.bonded_as and _would_show(sighting)):
            return True
        return self.address_type == sighting.address_type == "public"

    def moved(self, sighting: Addressed) -> Identity:
        """The same device under the address that it has now."""
        return replace(self, address=sighting.address, address_type=sighting.address_type)


def _would_show(sighting: Addressed) -> bool:
    """Whether the address would be known for that of a bonded device: it is no private one that no key resolves."""
    return not is_private(sighting) or kind_of_random(sighting.address) == "resolvable private"


def is_private(sighting: Addressed) -> bool:
    """Whether it has an address that it changes."""
    try:
        return sighting.address_type == "random" and kind_of_random(sighting.address) in _PRIVATE
    except MalformedValue:  # macOS gives an identifier of its own, which stays
        return False


def was_made_with(key: bytes, address: str) -> bool:
    """Whether the address is a resolvable private one of this key."""
    try:
        return resolves(key, address)
    except MalformedValue:
        return False
