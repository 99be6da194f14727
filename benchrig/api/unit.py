"""A unit that was found."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator
from contextlib import AbstractAsyncContextManager

from benchrig.api.done import Done
from benchrig.api.link import ConnectedLink
from benchrig.api.place import calling_place
from benchrig.api.verbs import Asked, Data, Time, awaited
from benchrig.api.words import duration
from benchrig.radio.scan import Sighting
from benchrig.source.problem import Place
from benchrig.values.quantity import Quantity


class FoundUnit(Asked):
    """One device, which the radio holds on to: the same one is meant from here on."""

    @property
    def address(self) -> str:
        """Where it was heard last."""
        return self._sighting.address if self._sighting else ""

    @property
    def name(self) -> str:
        """What it is called in what it advertises; '' for nothing."""
        return self._sighting.name if self._sighting else ""

    @property
    def _sighting(self) -> Sighting | None:
        return self._run.devices[self._device].unit.sighting

    @property
    def rssi(self) -> Quantity | None:
        """How strong it was received last; None where the radio does not say."""
        level = self._sighting.median_rssi if self._sighting else None
        return None if level is None else Quantity(level, "dBm")

    @awaited
    async def back(self, within: Time) -> Quantity:
        """Listen until the unit is heard again, after its link was lost or its power was off: after how long it was."""
        time = duration(within, calling_place())
        done = await self.step("scan", for_="0 s", within=time, expect={"advertises_after": {"max": time}})
        return done["advertises_after"]  # type: ignore[no-any-return]

    @awaited
    async def power(self, switch: str, *, within: Time | None = None, **keys: object) -> Done:
        """Switch its power: 'down', 'up', 'cycle'. It needs a switch in the station file."""
        return await self.step("power", switch, within=within, **keys)

    @awaited
    async def console(
        self, send: str | None = None, *, expect: Data | None = None, within: Time | None = None, **keys: object
    ) -> Done:
        """Send a line to its console, and look at what it prints."""
        return await self.step("console", send=send, expect=expect, within=within, **keys)

    def connect(
        self, *, attempts: int | None = None, expect: Data | None = None, within: Time | None = None, **keys: object
    ) -> AbstractAsyncContextManager[ConnectedLink]:
        """Connect; at the end of the context the link is ended, whatever happens in it."""
        keys |= {"attempts": attempts, "expect": expect, "within": within}
        return self._connected(keys, calling_place())

    @contextlib.asynccontextmanager
    async def _connected(self, keys: dict[str, object], place: Place) -> AsyncIterator[ConnectedLink]:
        await self._run.carry_out("connect", None, keys, self._device, place=place)
        try:
            yield ConnectedLink(self._run, self._device)
        except BaseException as error:
            await self._run.let_go(self._device, f"{type(error).__name__} was raised")
            raise
        if self._run.devices[self._device].is_up or self._run.lost_unseen(self._device):
            await self._run.carry_out("disconnect", None, {}, self._device, place=place)
