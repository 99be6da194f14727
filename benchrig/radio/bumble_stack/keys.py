"""Bonds and addresses between benchrig and bumble."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.radio.bonds import AddressType, Bond, Bonds, Keys, LongTermKey, Secret, now
from benchrig.radio.bumble_stack.bumble_api import PairingKeys, hci, smp
from benchrig.radio.security import Protection

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Connection
    from benchrig.radio.bumble_stack.smp import Session


class Resolver(smp.AddressResolver):
    """Says whose resolvable address one is, by the bonds that there are now."""

    def __init__(self, bonds: Bonds) -> None:
        super().__init__(())
        self._bonds = bonds

    @property
    def resolving_keys(self) -> list[tuple[bytes, hci.Address]]:
        return [pair for bond in self._bonds.all() for pair in _resolving(bond)]

    @resolving_keys.setter
    def resolving_keys(self, _: object) -> None:
        """bumble's are none."""

    def can_resolve_to(self, address: hci.Address) -> bool:
        """bumble would look for the identity in advertising reports, without a time-out, before it connects; what is
        connected to here was heard, at the address that it had."""
        return False


def address_of(bond: Bond) -> hci.Address:
    public = bond.address_type == "public"
    return hci.Address(bond.address, hci.AddressType.PUBLIC_DEVICE if public else hci.AddressType.RANDOM_DEVICE)


def named(address: hci.Address) -> tuple[str, AddressType]:
    return address.to_string(False), "public" if address.is_public else "random"


def bond_of(bonds: Bonds, connection: Connection) -> Bond | None:
    """The bond with the peer of a connection, whose address bumble has resolved."""
    return bonds.of(*named(connection.peer_address))


def link_key(bond: Bond) -> LongTermKey | None:
    """The key that encrypts a link on which the unit is the peripheral: of legacy pairing the one that the unit gave."""
    return bond.keys.ltk or bond.keys.ltk_peripheral


def identification(key: LongTermKey) -> tuple[bytes, int]:
    """What the central names a key by: its random number and its diversifier; zeros of Secure Connections."""
    return bytes(key.random or bytes(8)), key.number or 0


def protection_of(bond: Bond) -> Protection:
    return Protection(bond.authenticated, bond.secure_connections, bond.key_size)


def bond_from(session: Session, peer: hci.Address, keys: PairingKeys, radio: str) -> Bond:
    """What a pairing has left to keep."""
    address, address_type = named(peer)
    worth = session.protection
    return Bond(
        address,
        address_type,
        _keys(keys),
        name=session.side.terms.name,
        at=now(),
        radio=radio,
        method=session.method,
        authenticated=worth.authenticated,
        secure_connections=worth.secure_connections,
        key_size=worth.key_size,
    )


def _keys(keys: PairingKeys) -> Keys:
    """bumble calls that a key of the central which the central uses, and it is the peripheral that gave it."""
    return Keys(
        ltk=_long(keys.ltk),
        ltk_central=_long(keys.ltk_peripheral),
        ltk_peripheral=_long(keys.ltk_central),
        irk=Secret(keys.irk.value) if keys.irk else None,
        csrk=Secret(keys.csrk.value) if keys.csrk else None,
    )


def _long(key: PairingKeys.Key | None) -> LongTermKey | None:
    """bumble has an empty one for a key that was not given."""
    if key is None or not key.value:
        return None
    return LongTermKey(Secret(key.value), key.ediv or None, Secret(key.rand) if key.rand else None)


def _resolving(bond: Bond) -> list[tuple[bytes, hci.Address]]:
    return [(bytes(bond.keys.irk), address_of(bond))] if bond.keys.irk else []


def is_address_of(bond: Bond, address: str) -> bool:
    """Whether a peer that advertises with this random address is the one of the bond: its identity address, or one that
    its identity key resolves."""
    if address == bond.address:
        return True
    on_air = hci.Address(address, hci.AddressType.RANDOM_DEVICE)
    resolver = smp.AddressResolver(_resolving(bond))
    return on_air.is_resolvable and resolver.resolve(on_air) is not None


def identity_type_of(own: hci.OwnAddressType) -> hci.AddressType:
    public = own == hci.OwnAddressType.PUBLIC
    return hci.AddressType.PUBLIC_DEVICE if public else hci.AddressType.RANDOM_DEVICE
