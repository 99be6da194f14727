"""The security of a link, as whoever holds the link sees it: what it comes to is noted for the unit."""

from __future__ import annotations

from collections.abc import Callable

from benchrig.radio.security import Encrypted, Level, LinkSecurity, Paired, Party, Wish


class NotedSecurity:
    """Passes everything on; `bonded_as` is told the identity address of a bond that was made, '' when it has gone."""

    def __init__(self, security: LinkSecurity, bonded_as: Callable[[str], None]) -> None:
        self._security = security
        self._bonded_as = bonded_as

    @property
    def level(self) -> Level | None:
        return self._security.level

    @property
    def is_bonded(self) -> bool:
        return self._security.is_bonded

    async def pair(self, wish: Wish, party: Party) -> Paired:
        """The bond that there was goes first, whatever comes of it."""
        self._bonded_as("")
        paired = await self._security.pair(wish, party)
        if paired.bonded:
            self._bonded_as(paired.identity_address)
        return paired

    async def encrypt(self) -> Encrypted:
        return await self._security.encrypt()

    async def forget(self) -> None:
        await self._security.forget()
        self._bonded_as("")
