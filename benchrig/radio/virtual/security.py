"""The security of a simulated device at work: its bonds, and how far each of its links is protected."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from benchrig.radio.bumble_stack.bumble_api import Connection, smp
from benchrig.radio.security import LARGEST_KEY, Level
from benchrig.radio.virtual.access_rules import Protection
from benchrig.radio.virtual.bonds import Bond, Bonds, Worth

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Device, PairingKeys


class DeviceSecurity:
    """A link is worth what the key is worth that was handed out for it: what bumble says of a link is not so."""

    is_strict = True

    def __init__(self, device: Device) -> None:
        self._device = device
        self.bonds = Bonds()
        self._worth: dict[Connection, Worth] = {}
        device.keystore = self.bonds
        device.host.long_term_key_provider = self._long_term_key

    def attend(self, connection: Connection) -> None:
        """A link has begun."""
        connection.on(Connection.EVENT_PAIRING, lambda keys: self._on_pairing(connection, keys))
        connection.on(Connection.EVENT_DISCONNECTION, lambda _: self._worth.pop(connection, None))

    def protection(self, connection: Connection) -> Protection:
        link = Protection(has_key=self.bonds.of(connection.peer_address) is not None)
        worth = self._worth.get(connection)
        if worth is None or not connection.is_encrypted:
            return link
        return replace(link, level=worth.level, key_size=worth.key_size)

    async def _long_term_key(self, handle: int, rand: bytes, ediv: int) -> bytes | None:
        connection = self._device.lookup_connection(handle)
        if connection is None:
            return None
        session = self._device.smp_manager.sessions.get(handle)
        if session and (key := session.get_long_term_key(rand, ediv)):
            self._worth[connection] = _worth_of(session)
            return key
        bond = self.bonds.of(connection.peer_address)
        if bond and (key := bond.key(rand, ediv)):
            self._worth[connection] = bond.worth
            return key
        return None

    def _on_pairing(self, connection: Connection, keys: PairingKeys) -> None:
        session = self._device.smp_manager.sessions.get(connection.handle)
        if session and session.bonding:
            self.bonds.keep(connection.peer_address, Bond(keys, _worth_of(session)))


def _worth_of(session: smp.Session) -> Worth:
    if session.pairing_method == smp.PairingMethod.JUST_WORKS:
        return Worth(Level.ENCRYPTED, LARGEST_KEY)
    return Worth(Level.SECURE_CONNECTIONS if session.sc else Level.AUTHENTICATED, LARGEST_KEY)
