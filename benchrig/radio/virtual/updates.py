"""The values that a characteristic of a simulated device sends: in order, one at a time, and what becomes of them."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Protocol

from benchrig.radio.virtual.behaviour import Actor, Moment, On, Unanswered
from benchrig.radio.virtual.gatt_spec import PROPERTIES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchrig.radio.bumble_stack.bumble_api import Characteristic, Connection, Host, att
    from benchrig.radio.virtual.gatt_spec import CharacteristicSpec
    from benchrig.radio.virtual.server import StrictServer

# As many values wait for the air as a small device has buffers for; then it waits before it makes the next.
QUEUED_VALUES = 16
_NOTIFY, _INDICATE = 1, 2  # bits of a CCCD (Core Vol 3 Part G 3.3.3.3)


class Source(Protocol):
    """Another characteristic, as far as its handle is needed."""

    @property
    def attribute(self) -> Characteristic[bytes]: ...


class Sender(Actor, Protocol):
    """The device."""

    server: StrictServer

    @property
    def characteristics(self) -> Mapping[str, Source]: ...

    @property
    def host(self) -> Host: ...

    @property
    def connections(self) -> list[Connection]: ...

    @property
    def sends_unprotected(self) -> bool: ...


class Updates:
    """Of one characteristic. `cccd` is its descriptor, None while it has none that needs anything."""

    def __init__(self, device: Sender, spec: CharacteristicSpec, attribute: Characteristic[bytes]) -> None:
        self._device, self._spec, self._attribute = device, spec, attribute
        self.cccd: att.Attribute[bytes] | None = None
        self._in_turn = asyncio.Lock()
        self._number = 0
        self._last: bytes | None = None
        self._held: dict[Connection, bytes] = {}
        self._subscribed_once: set[Connection] = set()

    def on_subscription(self, connection: Connection) -> None:
        self._subscribed_once.add(connection)

    def forget(self, connection: Connection) -> None:
        self._held.pop(connection, None)
        self._subscribed_once.discard(connection)

    async def send(self, connection: Connection, value: bytes) -> None:
        """Notify or indicate one subscriber. A value longer than the link carries is cut, as Core Vol 3 Part F
        3.4.7.1 has it for a real device."""
        queue = self._device.host.le_acl_packet_queue
        async with self._in_turn:
            if queue is not None and queue.pending >= QUEUED_VALUES and connection in self._device.connections:
                await queue.drain(connection.handle)
            way = self._way(connection)
            if way and self._spec.on_notify.behaviours:
                await self._send(connection, value)
            elif way:
                await self._put(connection, self._attribute, value, way)

    def _way(self, connection: Connection) -> int:
        """The bits of the CCCD that count; 0: nothing is sent."""
        server, device = self._device.server, self._device
        if connection not in device.connections:
            return 0
        if self.cccd and server.refuses(connection, self.cccd, "write") and not device.sends_unprotected:
            return 0  # what protects the link now is less than when it was subscribed to
        return server.read_cccd(connection, self._attribute)[0] or self._usual(connection)

    def _usual(self, connection: Connection) -> int:
        """Where nobody is subscribed: a fault."""
        plan = self._spec.notify
        if plan is None or not (plan.early or (plan.goes_on and connection in self._subscribed_once)):
            return 0
        return _NOTIFY if self._spec.property_bits & PROPERTIES["notify"] else _INDICATE

    async def _send(self, connection: Connection, value: bytes) -> None:
        self._number += 1
        moment = Moment(self._device, self._number, connection, self._last, value)
        try:
            await self._spec.on_notify.meet(On.NOTIFY, moment)
        except Unanswered:
            return
        update = self._spec.on_notify.update(moment)
        self._last = update.value
        if update.is_held and connection not in self._held:
            self._held[connection] = update.value
            return
        behind = [self._held.pop(connection)] if connection in self._held else []
        for one in [update.value] * update.copies + behind:
            under = self._device.characteristics[update.under].attribute if update.under else self._attribute
            # the way is asked for again: a value may have waited
            await self._put(connection, under, one, self._way(connection))

    async def _put(self, connection: Connection, attribute: Characteristic[bytes], value: bytes, way: int) -> None:
        server = self._device.server
        if way & _NOTIFY:
            server.notify(connection, attribute, value)
        elif way & _INDICATE:
            await server.indicate_subscriber(connection, attribute, value, force=True)
