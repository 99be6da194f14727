"""Where frames of a link come into a simulated device: it may answer late there, or not at all, whatever they are for."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Protocol

from benchrig.radio.virtual.behaviour import Actor, Moment, On, Refused, Unanswered
from benchrig.radio.virtual.gate import error, is_request

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchrig.radio.bumble_stack.bumble_api import Connection
    from benchrig.radio.virtual.device_spec import DeviceSpec


class Host(Actor, Protocol):
    """The device."""

    @property
    def connections(self) -> list[Connection]: ...

    def answer(self, connection: Connection, channel: int, octets: bytes) -> None: ...


class Doorway:
    """Of one device. Frames of a link pass in their order."""

    def __init__(self, device: Host, spec: DeviceSpec) -> None:
        self._device, self._spec = device, spec
        self._opens: dict[Connection, float] = {}
        self._asked: dict[Connection, int] = {}
        self._in_turn: dict[Connection, asyncio.Lock] = {}

    def on_connection(self, connection: Connection, number: int) -> None:
        lag = self._spec.faults.lag(On.OPEN, Moment(self._device, number, connection))
        if lag:
            self._opens[connection] = asyncio.get_running_loop().time() + lag

    def forget(self, connection: Connection) -> None:
        for kept in (self._opens, self._asked, self._in_turn):
            kept.pop(connection, None)

    def take(self, connection: Connection, channel: int, octets: bytes, deal: Callable[[], None]) -> None:
        """Let `deal` deal with the frame, at once or when its turn has come, or not at all."""
        if connection not in self._opens and not self._spec.on_request.behaviours:
            deal()
        else:
            self._device.spawn(self._pass(connection, channel, octets, deal))

    async def _pass(self, connection: Connection, channel: int, octets: bytes, deal: Callable[[], None]) -> None:
        async with self._in_turn.setdefault(connection, asyncio.Lock()):
            await asyncio.sleep(self._opens.get(connection, 0.0) - asyncio.get_running_loop().time())
            with suppress(Unanswered):
                try:
                    await self._meet(connection, channel, octets)
                except Refused as refused:
                    code, handle = refused.code, int.from_bytes(octets[1:3], "little")
                    self._device.answer(connection, channel, error(octets[0], code, handle))
                    return
                if connection in self._device.connections:
                    deal()

    async def _meet(self, connection: Any, channel: int, octets: bytes) -> None:
        if is_request(channel, octets):
            number = self._asked[connection] = self._asked.get(connection, 0) + 1
            await self._spec.on_request.meet(On.REQUEST, Moment(self._device, number, connection))
