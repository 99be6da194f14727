"""The security manager of one side, bench or simulated device: its pairings, its bonds, and how its links are protected."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, cast

from benchrig.errors import DeviceError
from benchrig.radio.bonds import Bond, Bonds
from benchrig.radio.bumble_stack.bumble_api import Device, hci, smp
from benchrig.radio.bumble_stack.keys import (
    Identities,
    Resolver,
    bond_from,
    bond_of,
    claims_another,
    identification,
    link_key,
    on_air,
    protection_of,
)
from benchrig.radio.bumble_stack.smp import Session
from benchrig.radio.bumble_stack.terms import Terms, config_of
from benchrig.radio.security import Protection
from benchrig.values.channels import SMP_LENGTHS

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Connection, PairingConfig, PairingKeys


class SecurityManager(smp.Manager):
    """bumble's, with keys kept in `bonds` and there only where both sides bond, and what is true of each connection.

    `terms` are asked for each pairing that the other side begins; None refuses it. Make it once the device is on.
    """

    def __init__(
        self,
        device: Device,
        bonds: Bonds,
        terms: Callable[[Connection], Terms | None] = lambda _: None,
        *,
        identity_type: hci.AddressType = hci.AddressType.RANDOM_DEVICE,
        radio: str = "",
    ) -> None:
        super().__init__(device, self._config)
        self.session_proxy = Session
        self.bonds = bonds
        self._terms = terms
        self._identity_type = identity_type
        self._radio = radio
        # what encrypts each connection, and what is about to
        self._in_use: dict[int, Protection] = {}
        self._coming: dict[int, Protection] = {}
        device.smp_manager = self
        self.identities = Identities(bonds)
        device.address_resolver = Resolver(self.identities)
        device.host.long_term_key_provider = self._long_term_key
        device.on(Device.EVENT_CONNECTION, self._on_connection)

    # What is true of a connection

    def protection(self, connection: Connection) -> Protection | None:
        """How a connection is protected; None while it is not encrypted."""
        return self._in_use.get(connection.handle) if connection.is_encrypted else None

    def bond_of(self, connection: Connection) -> Bond | None:
        return bond_of(self.bonds, connection)

    def keep(self, bond: Bond) -> None:
        self.bonds.keep(bond)
        self.identities.refresh()

    def forget(self, bond: Bond) -> None:
        self.bonds.forget(*bond.unit)
        self.identities.refresh()

    def expect(self, connection: Connection, protection: Protection) -> None:
        """The connection is about to be encrypted with a key that is worth so much."""
        self._coming[connection.handle] = protection

    def _on_connection(self, connection: Connection) -> None:
        self._in_use.pop(connection.handle, None)
        self._coming.pop(connection.handle, None)
        for event in (
            connection.EVENT_CONNECTION_ENCRYPTION_CHANGE,
            connection.EVENT_CONNECTION_ENCRYPTION_KEY_REFRESH,
            connection.EVENT_PAIRING,
        ):
            connection.on(event, lambda *_: self._correct(connection))
        failure = connection.EVENT_CONNECTION_ENCRYPTION_FAILURE
        connection.on(failure, lambda _: self._coming.pop(connection.handle, None))

    def _correct(self, connection: Connection) -> None:
        """Put right what bumble says of a connection: to it each one that is encrypted is authenticated."""
        if connection.handle in self._coming:
            self._in_use[connection.handle] = self._coming.pop(connection.handle)
        if protection := self.protection(connection):
            connection.authenticated = protection.authenticated
            connection.sc = protection.secure_connections
            connection.encryption_key_size = protection.key_size

    # Pairing

    def begin(self, connection: Connection, terms: Terms) -> Session:
        """A pairing that this side begins: `pair` of the session carries it out."""
        return self._session(connection, terms, is_initiator=True)

    def _session(self, connection: Connection, terms: Terms, *, is_initiator: bool) -> Session:
        session = Session(self, connection, config_of(terms, self._identity_type), is_initiator)
        session.expect = partial(self.expect, connection)
        self.sessions[connection.handle] = session
        return session

    def session_of(self, connection: Connection) -> Session | None:
        return cast("Session | None", self.sessions.get(connection.handle))

    def _config(self, connection: Connection) -> PairingConfig:
        """For bumble, which asks for a request of security."""
        terms = self._terms(connection)
        assert terms is not None
        return config_of(terms, self._identity_type)

    def on_smp_pdu(self, connection: Connection, pdu: bytes) -> None:
        session = self.session_of(connection)
        if not pdu or pdu[0] not in SMP_LENGTHS or (session and session.timed_out):
            return
        if len(pdu) == SMP_LENGTHS[pdu[0]]:
            self._on_command(connection, session, smp.SMP_Command.from_bytes(pdu))
        elif session and not session.completed:
            session.send_pairing_failed(smp.ErrorCode.INVALID_PARAMETERS)
        elif session is None:
            self._refuse(connection, smp.ErrorCode.INVALID_PARAMETERS)

    def _on_command(self, connection: Connection, session: Session | None, command: smp.SMP_Command) -> None:
        if isinstance(command, smp.SMP_Security_Request_Command):
            self.on_smp_security_request_command(connection, command)
        elif session and not session.completed:
            session.on_smp_command(command)
        elif isinstance(command, smp.SMP_Pairing_Request_Command):
            self._on_request(connection, command)
        elif session is None and not isinstance(command, smp.SMP_Pairing_Failed_Command):
            self._refuse(connection, smp.ErrorCode.UNSPECIFIED_REASON)
        # else it was on its way when the session ended

    def _on_request(self, connection: Connection, command: smp.SMP_Command) -> None:
        terms = self._terms(connection) if connection.role == hci.Role.PERIPHERAL else None
        if terms is None:
            self._refuse(connection, smp.ErrorCode.PAIRING_NOT_SUPPORTED)
            return
        self._session(connection, terms, is_initiator=False).on_smp_command(command)

    def _refuse(self, connection: Connection, reason: smp.ErrorCode) -> None:
        """What belongs to no session."""
        self.send_command(connection, smp.SMP_Pairing_Failed_Command(reason=reason))

    async def on_pairing(self, session: smp.Session, identity_address: hci.Address | None, keys: PairingKeys) -> None:
        ours = cast(Session, session)
        peer = identity_address or session.connection.peer_address
        bond = bond_from(peer, keys, ours.protection, ours.method, ours.side.terms.name, self._radio)
        try:
            if session.is_initiator and claims_another(self.bonds, bond, on_air(session.connection)):
                peer = session.connection.peer_address
                raise _of_another(bond.address)
            if session.bonding and link_key(bond):
                self.keep(bond)
        except Exception as exc:
            ours.side.error = exc
        self._tell(session, peer, keys)

    def _tell(self, session: smp.Session, peer: hci.Address, keys: PairingKeys) -> None:
        """bumble takes what the peer is known by for the address that it has connected with: after a second pairing that is
        its identity, and the next one would be computed with it."""
        connection = session.connection
        heard_at = on_air(connection)
        self.device.on_pairing(connection, peer, keys, session.sc)
        connection.peer_resolvable_address = heard_at

    def on_session_end(self, session: smp.Session) -> None:
        """A session that is not the last of its connection has gone already."""
        if self.sessions.get(session.connection.handle) is session:
            super().on_session_end(session)

    # Keys

    async def _long_term_key(self, handle: int, rand: bytes, ediv: int) -> bytes | None:
        """The key that the central asks for: that of a pairing under way, or of the bond."""
        connection = self.device.lookup_connection(handle)
        if connection is None:
            return None
        session = self.session_of(connection)
        if session and (key := session.get_long_term_key(rand, ediv)):
            self.expect(connection, session.protection)
            return key
        bond = self.bond_of(connection)
        kept = link_key(bond) if bond else None
        if bond is None or kept is None or identification(kept) != (rand, ediv):
            return None
        self.expect(connection, protection_of(bond))
        return bytes(kept.key)


def _of_another(address: str) -> DeviceError:
    return DeviceError(
        f"the device told the identity address of another bonded device, {address}, as its own",
        advice="see why two devices have one identity address; 'benchrig bonds clear' forgets an old bond",
    )
