"""A characteristic of a simulated device: its value, what it does when read and written, its notifications."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any, Protocol

from benchrig.errors import MalformedValue
from benchrig.radio.bumble_stack.bumble_api import UUID, Characteristic, CharacteristicValue, Descriptor, att
from benchrig.radio.virtual.behaviour import Actor, Moment, On
from benchrig.values.catalogue import short_uuid

if TYPE_CHECKING:
    import random

    from benchrig.radio.bumble_stack.bumble_api import Connection, Host
    from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, DescriptorSpec
    from benchrig.radio.virtual.server import StrictServer
    from benchrig.radio.virtual.sources import Source
    from benchrig.radio.virtual.table_spec import Effect
    from benchrig.values.base import Format

_READABLE, _WRITABLE = att.Attribute.READABLE, att.Attribute.WRITEABLE
_ENCRYPTED = att.Attribute.READ_REQUIRES_ENCRYPTION | att.Attribute.WRITE_REQUIRES_ENCRYPTION
_WRITE_PROPERTIES = Characteristic.Properties.WRITE | Characteristic.Properties.WRITE_WITHOUT_RESPONSE
# As many values wait for the air as a small device has buffers for; then it waits before it makes the next.
QUEUED_VALUES = 16


class Owner(Actor, Protocol):
    """The device of a characteristic."""

    characteristics: dict[str, SimulatedCharacteristic]
    server: StrictServer

    @property
    def host(self) -> Host: ...

    @property
    def connections(self) -> list[Connection]: ...

    @property
    def clock(self) -> float: ...

    def chance(self, cause: str) -> random.Random: ...


class SimulatedCharacteristic:
    """`attribute` is what bumble's server serves."""

    def __init__(self, device: Owner, spec: CharacteristicSpec, effects: list[Effect]) -> None:
        self.device = device
        self.spec = spec
        self._source = spec.source.fresh()
        self._effects = effects
        self._reads = self._writes = 0
        self._last_read: bytes | None = None
        self._written: bytes | None = None
        self._in_turn = asyncio.Lock()
        self._notifiers: dict[Connection, asyncio.Task[Any]] = {}
        properties = Characteristic.Properties(spec.property_bits)
        self.attribute = _Attribute(
            uuid_on_air(spec.characteristic),
            properties,
            self._permissions(properties),
            CharacteristicValue(read=self._read, write=self._write),
            [_descriptor(descriptor, spec.format) for descriptor in spec.descriptors],
        )
        self.attribute.on(Characteristic.EVENT_SUBSCRIPTION, self._on_subscription)

    def _permissions(self, properties: Characteristic.Properties) -> att.Attribute.Permissions:
        permissions = att.Attribute.Permissions(0)
        if properties & Characteristic.Properties.READ:
            permissions |= _READABLE
        if properties & _WRITE_PROPERTIES:
            permissions |= _WRITABLE
        return permissions | (_ENCRYPTED if self.spec.encrypted else 0)

    def take(self) -> bytes:
        """The next value: what was written, if that was kept, else the next of its source."""
        return self._written if self._written is not None else self.octets_of(self._source)

    def octets_of(self, source: Source) -> bytes:
        return source.take(self.device.uptime, self.device.chance("values"))

    def put(self, value: bytes) -> None:
        self._written = value

    async def _read(self, connection: Connection) -> bytes:
        self._reads += 1
        moment = Moment(self.device, self._reads, connection, self._last_read)
        await self.spec.on_read.meet(On.READ, moment)
        self._last_read = self.spec.on_read.value(moment, self.take())
        return self._last_read

    async def _write(self, connection: Connection, value: bytes) -> None:
        self._writes += 1
        plan = self.spec.on_write
        if plan.check:
            self._check(value)
        await plan.meet(On.WRITE, Moment(self.device, self._writes, connection))
        if plan.store:
            self.put(value)
        for effect in self._effects:
            target = self.device.characteristics[effect.characteristic]
            octets = value if effect.source is None else target.octets_of(effect.source)
            target.put(octets)
            if effect.notify:
                self.device.spawn(target.send_to_subscribers(octets))

    def _check(self, value: bytes) -> None:
        """Refuse what is no value of the format."""
        form = self.spec.format
        if form is None:
            return
        if form.size is not None and len(value) != form.size:
            raise att.ATT_Error(att.ErrorCode.INVALID_ATTRIBUTE_LENGTH)
        try:
            form.decode(value)
        except MalformedValue as exc:
            raise att.ATT_Error(att.ErrorCode.OUT_OF_RANGE) from exc

    def _on_subscription(self, connection: Connection, notify: bool, indicate: bool) -> None:
        if task := self._notifiers.pop(connection, None):
            task.cancel()
        if self.spec.notify and (notify or indicate):
            self._notifiers[connection] = self.device.spawn(self._notify(connection))

    def forget(self, connection: Connection) -> None:
        if task := self._notifiers.pop(connection, None):
            task.cancel()

    async def _notify(self, connection: Connection) -> None:
        """Values at their times; a value whose time has passed while the air was busy is not made."""
        plan, loop = self.spec.notify, asyncio.get_running_loop()
        assert plan is not None
        due = loop.time()
        jitter, most = self.device.chance("jitter"), plan.jitter.seconds
        period = plan.period.seconds * self.device.clock
        sent = 0
        while plan.count is None or sent < plan.count:
            due = max(due + period, loop.time())
            await asyncio.sleep(due + jitter.uniform(0.0, most) - loop.time())
            await self.send(connection, self.take())
            sent += 1

    async def send_to_subscribers(self, value: bytes) -> None:
        for connection in list(self.device.connections):
            await self.send(connection, value)

    async def send(self, connection: Connection, value: bytes) -> None:
        """Notify or indicate one subscriber. A value longer than the link carries is cut, as Core Vol 3 Part F
        3.4.7.1 has it for a real device."""
        server, queue = self.device.server, self.device.host.le_acl_packet_queue
        async with self._in_turn:
            if queue is not None and queue.pending >= QUEUED_VALUES and connection in self.device.connections:
                await queue.drain(connection.handle)
            cccd = server.read_cccd(connection, self.attribute)[0]
            if cccd & 1:
                await server.notify_subscriber(connection, self.attribute, value)
            elif cccd & 2:
                await server.indicate_subscriber(connection, self.attribute, value)


def uuid_on_air(uuid: str) -> UUID:
    """As a device sends it: 16 bits where it has 16, else 128; ATT carries no others (Core Vol 3 Part F 3.2.1)."""
    short = short_uuid(uuid)
    return UUID(short if len(short) == 4 else uuid)


class _Attribute(Characteristic[bytes]):
    """bumble reads a value by its type whether or not it may be read, and would print the whole characteristic for a
    debug line that nobody reads."""

    async def read_value(self, bearer: att.Bearer) -> bytes:
        if not self.permissions & _READABLE:
            raise att.ATT_Error(att.ErrorCode.READ_NOT_PERMITTED)
        return await super().read_value(bearer)

    def __str__(self) -> str:
        return f"characteristic {self.handle}"


def _descriptor(spec: DescriptorSpec, of: Format | None) -> Descriptor:
    permissions = _READABLE | (_WRITABLE if spec.writable else 0)
    return Descriptor(uuid_on_air(spec.descriptor), att.Attribute.Permissions(permissions), spec.octets(of))
