"""What the links of one adapter of Linux share for their security: the bonds, the settings of the adapter, what the kernel tells."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bluez import Bluez, KnownDevice
from benchrig.radio.bluez_bonds import BluezBonds
from benchrig.radio.bluez_changes import Changes
from benchrig.radio.bluez_kernel import Kernel
from benchrig.radio.security import HIDDEN, NONE, Encrypted, Paired
from benchrig.radio.security_offers import UNKNOWN_BOND, UNKNOWN_KEY, UNKNOWN_REASON

if TYPE_CHECKING:
    from benchrig.radio.link import Link

_WHY = {
    "secure_connections": UNKNOWN_KEY,
    "authenticated": UNKNOWN_KEY,
    "key_size": UNKNOWN_KEY,
    "identity_address": UNKNOWN_KEY,
    "bonded": UNKNOWN_BOND,
}


@dataclass
class Security:
    """`renew` connects a link anew to a device whose key Linux forgets."""

    bluez: Bluez
    kernel: Kernel
    bonds: BluezBonds
    changes: Changes
    renew: Callable[[Link, KnownDevice], Awaitable[None]]
    # whom Linux began to pair with on its own, which was refused, by address
    refused_unasked: set[str] = field(default_factory=set)
    # pairings of one adapter come one after the other: its agent and its settings are one
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    _paired: Paired = field(default_factory=Paired)
    _encrypted: Encrypted = field(default_factory=Encrypted)

    @classmethod
    async def open(
        cls,
        bluez: Bluez,
        claim: AdapterLock,
        renew: Callable[[Link, KnownDevice], Awaitable[None]],
    ) -> Security:
        kernel = Kernel(bluez.adapter)
        await kernel.open()
        changes = Changes(bluez, kernel, claim)
        await changes.recover()
        return cls(bluez, kernel, BluezBonds(bluez, claim), changes, renew)

    def for_run(self, renew: Callable[[Link, KnownDevice], Awaitable[None]]) -> Security:
        """For another run on the same adapter: its bonds, and what its last pairing came to, are its own."""
        return replace(
            self,
            renew=renew,
            bonds=self.bonds.for_run(),
            refused_unasked=set(),
            _paired=Paired(),
            _encrypted=Encrypted(),
        )

    async def close(self) -> None:
        """The bonds that were made go with the run. StationError when the service does not answer."""
        try:
            await self.bonds.clear()
        finally:
            self.kernel.close()

    def keep(self, paired: Paired) -> Paired:
        """What the last pairing came to decides what can be judged of it."""
        self._paired = paired
        return paired

    def kept(self, encrypted: Encrypted) -> Encrypted:
        self._encrypted = encrypted
        return encrypted

    def unjudged(self, verb: str, name: str) -> str:
        """Why a limit on the last pairing, or on the last encryption, is not judged; '' when it is."""
        if verb not in ("pair", "encrypt"):
            return ""
        last = self._paired if verb == "pair" else self._encrypted
        if name in ("failure", "failed_by"):
            return UNKNOWN_REASON if last.failure == HIDDEN else ""
        if last.failure != NONE:
            return ""
        if name == "identity_address" and not self.kernel.manages and not self._paired.identity_address:
            return UNKNOWN_KEY
        return _WHY.get(name, "") if getattr(last, name, "") is None else ""
