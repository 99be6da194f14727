"""The bonds of a simulated device: what it remembers of those it has paired with, in its non-volatile memory."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.radio.bumble_stack.bumble_api import KeyStore, PairingKeys
from benchrig.radio.security import Level

if TYPE_CHECKING:
    from benchrig.radio.bumble_stack.bumble_api import hci


@dataclass(frozen=True)
class Worth:
    """What a key gives a link that it encrypts."""

    level: Level
    key_size: int


@dataclass(frozen=True)
class Bond:
    keys: PairingKeys = field(repr=False)
    worth: Worth

    def key(self, rand: bytes, ediv: int) -> bytes | None:
        """The key that a central asks for by these. Of legacy pairing each side has one; a device answers with the one that
        it gave out."""
        key = self.keys.ltk or self.keys.ltk_central
        if key is None or (key.rand or bytes(8), key.ediv or 0) != (rand, ediv):
            return None
        return key.value


class Bonds(KeyStore):
    """By the identity address of the peer. bumble asks it for the keys that resolve addresses; what it would store itself,
    bond or not, it does not."""

    def __init__(self) -> None:
        self._bonds: dict[str, Bond] = {}

    def of(self, peer: hci.Address) -> Bond | None:
        return self._bonds.get(str(peer))

    def keep(self, peer: hci.Address, bond: Bond) -> None:
        self._bonds[str(peer)] = bond

    def forget_all(self) -> None:
        self._bonds.clear()

    def __len__(self) -> int:
        return len(self._bonds)

    async def get_all(self) -> list[tuple[str, PairingKeys]]:
        return [(peer, bond.keys) for peer, bond in self._bonds.items()]
