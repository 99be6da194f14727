"""Bonds and addresses between benchrig and bumble."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.radio.bonds import AddressType, Bond, Bonds, Keys, LongTermKey, Secret, now
from benchrig.radio.bumble_stack.bumble_api import PairingKeys, hci, smp
from benchrig.radio.security import Method, Protection
from benchrig.values.address import resolves

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import Connection


# Addresses that change all the time must not fill the memory.
MOST_KNOWN = 4096


class Identities:
    """Whose address one is, by the bonds as they were when this was last told to look."""

    def __init__(self, bonds: Bonds) -> None:
        self._all = bonds
        self.bonds: list[Bond] = []
        self._known: dict[tuple[str, bool], str] = {}
        self.refresh()

    def refresh(self) -> None:
        """Raises StationError where the place of the bonds fails."""
        self.bonds = self._all.all()
        self._known.clear()

    def of(self, address: str, *, is_random: bool) -> str:
        """The identity address of the bonded device that has this one, '' without one."""
        if not self.bonds:
            return ""
        known = self._known.get((address, is_random))
        if known is None:
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            bond = self.bond_of(address, is_random=is_random)
            known = self._known[address, is_random] = bond.address if bond else ""
        return known

    def bond_of(self, address: str, *, is_random: bool) -> Bond | None:
        return next((bond for bond in self.bonds if _has(bond, address, is_random)), None)


def claims_another(bonds: Bonds, bond: Bond, heard_at: hci.Address) -> bool:
    """Whether a unit has told the identity address of another one that has a bond, which its own address does not bear out:
    that bond is the other one's."""
    return bonds.of(*bond.unit) is not None and not _has(bond, heard_at.to_string(False), not heard_at.is_public)


def _has(bond: Bond, address: str, is_random: bool) -> bool:
    if (bond.address, bond.address_type == "random") == (address, is_random):
        return True
    # ours and the specification's functions take a key most significant octet first
    return is_random and bond.keys.irk is not None and resolves(bytes(bond.keys.irk)[::-1], address)


class Resolver(smp.AddressResolver):
    """Tells bumble whose resolvable address one is that has connected."""

    def __init__(self, identities: Identities) -> None:
        super().__init__(())
        self._identities = identities

    def can_resolve_to(self, address: hci.Address) -> bool:
        """bumble would look for the identity in advertising reports, without a time-out, before it connects; what is
        connected to here was heard, at the address that it had."""
        return False

    def resolve(self, address: hci.Address) -> hci.Address | None:
        bond = self._identities.bond_of(address.to_string(False), is_random=not address.is_public)
        return address_of(bond) if bond else None


def address_of(bond: Bond) -> hci.Address:
    public = bond.address_type == "public"
    return hci.Address(bond.address, hci.AddressType.PUBLIC_IDENTITY if public else hci.AddressType.RANDOM_IDENTITY)


def named(address: hci.Address) -> tuple[str, AddressType]:
    return address.to_string(False), "public" if address.is_public else "random"


def on_air(connection: Connection) -> hci.Address:
    """The address that the peer had when it connected."""
    return connection.peer_resolvable_address or connection.peer_address


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


def bond_from(peer: hci.Address, keys: PairingKeys, worth: Protection, method: Method, name: str, radio: str) -> Bond:
    """What a pairing has left to keep."""
    address, address_type = named(peer)
    return Bond(
        address,
        address_type,
        _keys(keys),
        name=name,
        at=now(),
        radio=radio,
        method=method,
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
