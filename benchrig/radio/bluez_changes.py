"""What a pairing changes of an adapter of Linux for as long as it takes: whether bonds are asked for, and whether Secure
Connections are offered. Both belong to the whole system, so they are put back, by the next benchrig if need be."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Iterable

from benchrig.errors import StationError
from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bluez import Bluez
from benchrig.radio.bluez_kernel import READ_INFO, SECURE_CONNECTIONS, SET_SECURE_CONNECTIONS, Kernel
from benchrig.radio.security import Wish

_BONDS, _SECURE = "bonds", "secure connections"
# what puts back that only legacy pairing was offered
_UNDO_LEGACY = f"{_SECURE} on"
_SETTINGS_AT = 13


class Changes:
    """Of one adapter, which this process holds by `claim`."""

    def __init__(self, bluez: Bluez, kernel: Kernel, claim: AdapterLock) -> None:
        self._bluez, self._kernel, self._claim = bluez, kernel, claim

    @contextlib.asynccontextmanager
    async def made(self, wish: Wish) -> AsyncIterator[None]:
        """The adapter is as this pairing wants it while the context is open."""
        if not self._kernel.manages and _UNDO_LEGACY in self._claim.changed:
            raise StationError(
                "a benchrig that died has left Secure Connections off at this adapter, so each pairing would be a legacy one",
                advice="run benchrig once as root: it puts them back",
            )
        changed: list[str] = []
        try:
            await self._change(_BONDS, wish.bonding, changed)
            if self._kernel.manages:
                await self._change(_SECURE, wish.pairing != "legacy", changed)
            yield
        finally:
            await self._put_back(changed)

    async def recover(self) -> None:
        """Put back what a dead benchrig has left."""
        await self._put_back(self._claim.changed)

    async def _change(self, what: str, wanted: bool, changed: list[str]) -> None:
        if await self._is(what) == wanted:
            return
        undo = f"{what} {'off' if wanted else 'on'}"
        self._claim.changed.add(undo)
        self._claim.write()
        changed.append(undo)
        await self._set(what, wanted)

    async def _put_back(self, changed: Iterable[str]) -> None:
        for undo in list(changed):
            what, _, state = undo.rpartition(" ")
            with contextlib.suppress(StationError):  # the next one tries again
                await self._set(what, state == "on")
                self._claim.changed.discard(undo)
        self._claim.write()

    async def _is(self, what: str) -> bool:
        if what == _BONDS:
            return bool((await self._bluez.properties()).get("Pairable", True))
        info = await self._kernel.command(READ_INFO)
        return bool(int.from_bytes(info[_SETTINGS_AT : _SETTINGS_AT + 4], "little") & SECURE_CONNECTIONS)

    async def _set(self, what: str, wanted: bool) -> None:
        if what == _BONDS:
            await self._bluez.set_adapter("Pairable", wanted)
        elif not self._kernel.manages:
            raise StationError("only who may manage the adapter can put Secure Connections back")
        else:
            await self._kernel.command(SET_SECURE_CONNECTIONS, bytes((wanted,)))
