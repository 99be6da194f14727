"""Pairing by an operating system that keeps it to itself: Windows, which pairs as a side without input and output when it
is asked to, and macOS, which asks its user when a device wants it and tells no program.
"""

from __future__ import annotations

import platform
from typing import TYPE_CHECKING, NoReturn

from benchrig.errors import StationError
from benchrig.radio.foreign import translate
from benchrig.radio.offers import ON_OTHER_RADIO
from benchrig.radio.security import HIDDEN, LINK_LOST, Encrypted, Level, Paired, Party, Wish

if TYPE_CHECKING:
    from bleak import BleakClient


class SystemSecurity:
    """What the system does not tell is None in what comes back. It keeps the bond, and encrypts by itself."""

    def __init__(self, client: BleakClient) -> None:
        self._client = client
        self._is_paired = False

    @property
    def level(self) -> Level | None:
        return None

    @property
    def is_bonded(self) -> bool:
        """As far as this link has seen."""
        return self._is_paired

    async def pair(self, wish: Wish, party: Party) -> Paired:
        if platform.system() != "Windows":
            _cannot("pair", "macOS pairs on its own when a device wants it, and asks its user")
        if wish.capability != "none" or wish != Wish():
            _cannot("pair", "Windows pairs for a program only as 'none', with its own choice of the rest")
        try:
            await self._client.unpair()
            await self._client.pair()
        except Exception:
            return Paired(HIDDEN if self._client.is_connected else LINK_LOST)
        self._is_paired = True
        return Paired(bonded=True)

    async def encrypt(self) -> Encrypted:
        _cannot("encrypt", "the operating system encrypts on its own, and does not tell")

    async def forget(self) -> None:
        if platform.system() != "Windows":
            _cannot("forget", "macOS lets only its user remove a bond")
        try:
            await self._client.unpair()
        except Exception as exc:
            raise translate(exc, "forget the bond") from exc
        self._is_paired = False


def _cannot(doing: str, why: str) -> NoReturn:
    raise StationError(f"{doing}: {why}", advice=ON_OTHER_RADIO)
