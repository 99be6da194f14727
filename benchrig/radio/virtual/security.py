"""The security of a simulated device at work: how it pairs, its bonds, and how far each of its links is protected."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any, Protocol

from benchrig.radio.bonds import MemoryBonds
from benchrig.radio.bumble_stack.bumble_api import Connection, EccKey, hci, smp
from benchrig.radio.bumble_stack.keys import address_of, protection_of
from benchrig.radio.bumble_stack.manager import SecurityManager
from benchrig.radio.bumble_stack.terms import Terms
from benchrig.radio.security import Level
from benchrig.radio.virtual.security_conduct import DeviceConduct, Failures
from benchrig.radio.virtual.security_spec import OCTETS
from benchrig.radio.virtual.security_user import DeviceUser

if TYPE_CHECKING:
    import asyncio
    import random
    from collections.abc import Coroutine

    from benchrig.radio.bonds import Bond
    from benchrig.radio.bumble_stack.bumble_api import Device
    from benchrig.radio.security import Protection
    from benchrig.radio.virtual.device_spec import DeviceSpec
    from benchrig.radio.virtual.security_spec import SecuritySpec


class Owner(Protocol):
    """The device, as far as its security needs it."""

    @property
    def spec(self) -> DeviceSpec: ...

    @property
    def device(self) -> Device: ...

    def chance(self, cause: str) -> random.Random: ...

    def spawn(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]: ...

    async def disconnect(self, connection: Connection | None) -> None: ...

    def on_display(self, number: str, connection: Connection) -> None: ...


class DeviceSecurity:
    """`shown` is the last number on its display; `bonds` last as long as the air."""

    def __init__(self, owner: Owner) -> None:
        self._owner = owner
        self.bonds = MemoryBonds()
        self.shown = ""
        self._failures = Failures(owner.spec.security.wait_after_failure.seconds)
        self._deleted = False
        self._user: DeviceUser | None = None
        self._manager: SecurityManager | None = None

    @property
    def spec(self) -> SecuritySpec:
        return self._owner.spec.security

    def start(self) -> None:
        """Once its host is on."""
        public = self._owner.spec.own_address_type == "public"
        identity = hci.AddressType.PUBLIC_DEVICE if public else hci.AddressType.RANDOM_DEVICE
        self._manager = SecurityManager(self._owner.device, self.bonds, self._terms, identity_type=identity)
        self._manager.debug_mode = self.spec.faults.debug_key

    # How its links are protected

    @property
    def is_strict(self) -> bool:
        return self.spec.strict

    @property
    def peers(self) -> list[hci.Address]:
        """The identity addresses of those that it has bonds with, the last one last."""
        return [address_of(bond) for bond in self.bonds.all()]

    def has_key(self, connection: Connection) -> bool:
        """Whether there is a key for the peer, in use or not."""
        return self._bond_of(connection) is not None

    def protection(self, connection: Connection) -> Protection | None:
        """None: the link is not encrypted."""
        if self._manager is None:
            return None
        bond = self._bond_of(connection) if self.spec.faults.trusts_address else None
        return self._manager.protection(connection) or (protection_of(bond) if bond else None)

    def _bond_of(self, connection: Connection) -> Bond | None:
        return self._manager.bond_of(connection) if self._manager else None

    # Pairing

    def attend(self, connection: Connection) -> None:
        """A link has begun."""
        connection.on(Connection.EVENT_PAIRING_FAILURE, lambda _: self._failures.add(connection.peer_address))
        connection.on(Connection.EVENT_PAIRING, lambda _: self._failures.clear(connection.peer_address))
        if self.spec.security_request and self.spec.bondable and self._manager:
            self._manager.request_pairing(connection)

    def enter(self, text: str) -> None:
        """Somebody enters a passkey at the device, or his answer to a comparison."""
        if self._user:
            self._user.put(text)

    def _terms(self, connection: Connection) -> Terms | None:
        if not self.spec.bondable or (self.spec.faults.refuses_after_deletion and self._deleted):
            return None
        self._user = DeviceUser(
            self.spec, self._owner.chance("passkey"), lambda number: self._display(number, connection)
        )
        conduct = DeviceConduct(
            self.spec,
            self._failures.refuses(connection.peer_address),
            self._least(connection),
            lambda: self._owner.spawn(self._owner.disconnect(connection)),
        )
        return Terms(self.spec.wish, self._user, conduct, self._own_oob())

    def _least(self, connection: Connection) -> Level:
        """What a pairing has to come to: no less than the bond that it replaces, where there is no downgrade."""
        bond = self._bond_of(connection)
        if bond is None or self.spec.downgrade:
            return self.spec.least
        return max(self.spec.least, protection_of(bond).level)

    def _display(self, number: str, connection: Connection) -> None:
        self.shown = number
        self._owner.on_display(number, connection)

    def _own_oob(self) -> smp.OobContext | None:
        given = self.spec.out_of_band
        return oob_context(self._owner.spec.name, given.random) if given and given.random else None

    # Bonds

    def delete_bonds(self) -> None:
        """As the device is told to."""
        self._deleted = True
        if not self.spec.faults.keeps_bonds:
            self._forget_all()

    def on_disconnection(self) -> None:
        if self.spec.faults.forgets_bonds == "disconnection":
            self._forget_all()

    def on_restart(self) -> None:
        self._user = None
        self._failures.forget()
        if self.spec.faults.forgets_bonds == "restart":
            self._forget_all()

    def _forget_all(self) -> None:
        for bond in self.bonds.all():
            if self._manager:
                self._manager.forget(bond)


def oob_context(name: str, random: bytes) -> smp.OobContext:
    """What a device of this name has out of band for Secure Connections, with this random value (most significant octet
    first): its key pair depends on its name alone, so that the confirm value does."""
    key = EccKey.from_private_key_bytes(made_from(f"{name}/out of band", 32))
    return smp.OobContext(key, random[::-1])


def made_from(text: str, octets: int = OCTETS) -> bytes:
    """Octets of a device that depend on its name alone."""
    return hashlib.sha256(f"benchrig device {text}".encode()).digest()[:octets]
