"""What listens to the characteristics of one link: one subscription for each of them, however many listen."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchrig.errors import NoAnswer, UsageError

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.table import Characteristic

Listener = Callable[[bytes], None]


@dataclass
class _Shared:
    """One characteristic. While the device is asked for a change nobody else asks it for one."""

    listeners: list[Listener] = field(default_factory=list)
    is_on: bool = False
    # whether indications were asked for
    indicates: bool = False
    changing: asyncio.Lock = field(default_factory=asyncio.Lock)

    def hear(self, data: bytes) -> None:
        for listener in self.listeners:
            listener(data)


class Subscriptions:
    """Of one link; they end with it."""

    def __init__(self, link: Link) -> None:
        self._link = link
        self._shared: dict[int, _Shared] = {}

    async def add(
        self,
        characteristic: Characteristic,
        listener: Listener,
        doing: str,
        within: float,
        indicate: bool | None = None,
    ) -> None:
        """The listener hears what comes from now on, also while the device is being asked. One that comes second waits
        for the first one's request. Without a wish to `indicate` or not it is notifications where there are any. What the
        link raises, UsageError for two wishes; then nothing is left on."""
        shared = self._shared.setdefault(characteristic.handle, _Shared())
        shared.listeners.append(listener)
        try:
            async with _turn(shared.changing, doing, within) as left:
                if not shared.is_on:
                    await self._switch_on(characteristic, shared, doing, left, indicate)
                elif indicate not in (None, shared.indicates):
                    raise UsageError(
                        f"{doing}: the characteristic sends {'indications' if shared.indicates else 'notifications'} already",
                        advice="use the same mode in all steps that listen at the same time",
                    )
        except BaseException:
            shared.listeners.remove(listener)
            raise

    async def _switch_on(
        self, characteristic: Characteristic, shared: _Shared, doing: str, within: float, indicate: bool | None
    ) -> None:
        shared.indicates = "notify" not in characteristic.properties if indicate is None else indicate
        await self._link.subscribe(characteristic, shared.hear, doing, within, indicate=shared.indicates)
        shared.is_on = True

    async def remove(self, characteristic: Characteristic, listener: Listener, doing: str, within: float) -> None:
        """The last one that leaves turns the subscription off; it hears what comes until then."""
        shared = self._shared.get(characteristic.handle)
        if shared is None or listener not in shared.listeners:
            return
        try:
            async with _turn(shared.changing, doing, within) as left:
                if shared.is_on and len(shared.listeners) == 1:
                    shared.is_on = False
                    await self._link.unsubscribe(characteristic, doing, left)
        finally:
            shared.listeners.remove(listener)


@contextlib.asynccontextmanager
async def _turn(lock: asyncio.Lock, doing: str, within: float) -> AsyncIterator[float]:
    """The lock, and what is left of the time. NoAnswer when whoever has it waits for the device for too long."""
    if lock.locked():
        loop = asyncio.get_running_loop()
        deadline = loop.time() + within
        try:
            async with asyncio.timeout_at(deadline):
                await lock.acquire()
        except TimeoutError as exc:
            raise NoAnswer(f"{doing}: the device did not answer within {round(within, 3):g} s") from exc
        within = max(0.001, deadline - loop.time())
    else:
        await lock.acquire()
    try:
        yield within
    finally:
        lock.release()
