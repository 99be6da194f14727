"""The privacy of a device file: an address that changes.

privacy:
  address: resolvable     made with the device's identity key; non resolvable: drawn at random
  every: 15 min           1 s to 1 h (Core Vol 4 Part E 7.8.45, Vol 3 Part C 10.7: 15 min are recommended)
  key: 'EC02…'            its identity resolving key, 16 octets, the most significant first; default: made from its name
  never_rotates: true     and three faults that devices have
  another_key: true
  identity_every: 3
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

import msgspec

from benchrig.radio.virtual.words import Hex
from benchrig.source.shape import Misfit
from benchrig.values.address import KEY_SIZE, address_text, resolvable
from benchrig.values.quantity import Duration

if TYPE_CHECKING:
    import random

SHORTEST, LONGEST, USUAL = 1.0, 3600.0, 900.0
_RANDOM_BITS = 22  # of a resolvable private address, Core Vol 6 Part B 1.3.2.2


class PrivacySpec(msgspec.Struct, kw_only=True, frozen=True):
    address: Literal["resolvable", "non resolvable"] = "resolvable"
    every: Duration = Duration.of(USUAL)
    key: Hex | None = None
    never_rotates: bool = False
    another_key: bool = False
    identity_every: int | None = None

    def misfits(self) -> Iterable[Misfit]:
        if not SHORTEST <= self.every.seconds <= LONGEST:
            yield Misfit(f"an address is for 1 s to 1 h, found {self.every}", "for example: 15 min", ("every",))
        if self.key is not None and len(self.key) != KEY_SIZE:
            message = f"an identity resolving key has {KEY_SIZE} bytes, found {len(self.key)}"
            yield Misfit(message, "write 32 hex digits in quotes", ("key",))
        if self.identity_every is not None and self.identity_every < 2:
            yield Misfit("a device that has privacy has another address before its identity", "write 2 or more", ("identity_every",))  # fmt: skip
        if self.another_key and self.address != "resolvable":
            yield Misfit("only a resolvable address is made with a key", "take another_key out", ("another_key",))


def identity_key(name: str, spec: PrivacySpec | None) -> bytes:
    """The identity resolving key of a device, the most significant octet first. Each device has its own."""
    given = spec.key if spec else None
    return bytes(given) if given is not None else _made("identity key", name)


def _made(purpose: str, name: str) -> bytes:
    return hashlib.sha256(f"{purpose} of {name}".encode()).digest()[:KEY_SIZE]


class Addresses:
    """The addresses that a device takes, one after the other."""

    def __init__(self, spec: PrivacySpec, name: str, identity: str, rng: random.Random) -> None:
        self._spec, self._identity, self._rng = spec, identity, rng
        self._key = _made("another key", name) if spec.another_key else identity_key(name, spec)
        self._count = 0
        self._first = ""

    def next(self) -> str:
        self._count += 1
        if self._spec.identity_every and self._count % self._spec.identity_every == 0:
            return self._identity
        if self._spec.never_rotates and self._first:
            return self._first
        self._first = self._made()
        return self._first

    def _made(self) -> str:
        """Random bits are neither all 0 nor all 1 (Core Vol 6 Part B 1.3.2.2)."""
        if self._spec.address == "resolvable":
            drawn = self._rng.randrange(1, (1 << _RANDOM_BITS) - 1)
            return resolvable(self._key, (0b01 << _RANDOM_BITS | drawn).to_bytes(3, "big"))
        return address_text(self._rng.randrange(1, (1 << 46) - 1).to_bytes(6, "little"))
