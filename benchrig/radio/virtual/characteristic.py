"""A characteristic of a simulated device: its value, what it does when read and written, its notifications."""

from __future__ import annotations

import asyncio
import math
from typing import TYPE_CHECKING, Any, Protocol

from benchrig.errors import MalformedValue
from benchrig.radio.bumble_stack.bumble_api import UUID, Characteristic, CharacteristicValue, Descriptor, att
from benchrig.radio.virtual.behaviour import Moment, On, Refused
from benchrig.radio.virtual.clock import until
from benchrig.radio.virtual.gatt_spec import UPDATES
from benchrig.radio.virtual.makers import Happening, Unfit
from benchrig.radio.virtual.reactions import Building, Performer, Reaction
from benchrig.radio.virtual.sources import Clock, Source, octets
from benchrig.radio.virtual.updates import Sender, Updates
from benchrig.radio.virtual.value import Value
from benchrig.values.catalogue import short_uuid

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Sequence

    from benchrig.radio.bumble_stack.bumble_api import Connection
    from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, DescriptorSpec
    from benchrig.radio.virtual.needs_spec import Needing
    from benchrig.radio.virtual.server import StrictServer
    from benchrig.values.base import Format

_READABLE, _WRITABLE = att.Attribute.READABLE, att.Attribute.WRITEABLE
_WRITE_PROPERTIES = Characteristic.Properties.WRITE | Characteristic.Properties.WRITE_WITHOUT_RESPONSE
HEADER = 3  # octets of an ATT notification before its value (Core Vol 3 Part F 3.4.7.1)


class Owner(Sender, Performer, Protocol):
    """The device of a characteristic."""

    @property
    def clock(self) -> float: ...

    def postpone(self, seconds: float, action: Callable[[], None]) -> None: ...

    def chance(self, cause: str) -> random.Random: ...

    def occurs(self, kind: str, name: str, connection: Connection) -> None: ...


class SimulatedCharacteristic:
    """`attribute` is what bumble's server serves."""

    def __init__(self, device: Owner, spec: CharacteristicSpec, building: Building) -> None:
        self.device = device
        self.spec = spec
        self._value = Value(spec.source.fresh(), spec.format)
        self._reaction = building.reaction(spec.on_write, ("on_write",), of=spec)
        self._reads = self._writes = 0
        self._last_read: bytes | None = None
        self._kept: dict[str, bytes] = {}
        self._notifiers: dict[Connection, asyncio.Task[Any]] = {}
        properties = Characteristic.Properties(spec.property_bits)
        self.attribute = _Attribute(
            uuid_on_air(spec.characteristic),
            properties,
            self._permissions(properties),
            CharacteristicValue(read=self._read, write=self._write),
            [_descriptor(descriptor, spec.format) for descriptor in spec.descriptors],
        )
        self._updates = Updates(device, spec, self.attribute)
        self.attribute.on(Characteristic.EVENT_SUBSCRIPTION, self._on_subscription)

    def _permissions(self, properties: Characteristic.Properties) -> att.Attribute.Permissions:
        permissions = att.Attribute.Permissions(0)
        if properties & Characteristic.Properties.READ:
            permissions |= _READABLE
        if properties & _WRITE_PROPERTIES:
            permissions |= _WRITABLE
        return permissions

    def protect(self, server: StrictServer) -> None:
        """Tell the server what its attributes need; it has put the descriptor for subscribing behind those that the
        specification has."""
        made: list[att.Attribute[Any]] = [self.attribute, *self.attribute.descriptors]
        specs: list[Needing] = [self.spec, *self.spec.descriptors]
        for attribute, spec in zip(made, specs, strict=True):
            server.protect(attribute, "read", spec.reading)
            server.protect(attribute, "write", spec.writing)
        cccd = server.get_attribute(made[-1].handle + 1)
        if cccd and self.spec.cccd and self.spec.property_bits & UPDATES:
            self._updates.cccd = cccd
            server.protect(cccd, "write", self.spec.subscribing)

    def take(self) -> bytes:
        """The next value."""
        return self._value.take(*self._now())

    def current(self, field: str = "") -> bytes:
        """The value that would come next, or a field of it; it is still the next one then."""
        return self._value.current(*self._now(), field)

    def _now(self) -> tuple[float, float, random.Random]:
        return self.device.uptime, asyncio.get_running_loop().time(), self.device.chance("values")

    def _store(self, value: bytes) -> None:
        """Keep what was written, or let it go on from there."""
        form, pattern = self.spec.source.format, self.spec.source.pattern
        if form and isinstance(pattern, Clock) and self.spec.on_write.check:
            self.follow(Source(pattern.set_to(form.decode(value)), form))
        else:
            self.put(value)

    def put(self, value: bytes, field: str = "") -> None:
        self._value.put(octets(value), field)
        self._check_field(field)

    def _check_field(self, field: str) -> None:
        """Take back a field that makes no value of the whole. Raises Unfit."""
        try:
            _ = field and self.current()
        except MalformedValue:
            self._value.drop(field)
            raise Unfit from None

    def follow(self, source: Source, field: str = "") -> None:
        """From now on values come from this source, whose time begins now."""
        self._value.put(source, field, begins=asyncio.get_running_loop().time())
        self._check_field(field)

    def reset(self) -> None:
        """As it was when it was made."""
        self._value = Value(self.spec.source.fresh(), self.spec.format)

    async def _read(self, connection: Connection) -> bytes:
        self._reads += 1
        self.device.occurs("read", self.spec.called, connection)
        moment = Moment(self.device, self._reads, connection, self._last_read)
        await self.spec.on_read.meet(On.READ, moment)
        self._last_read = self.spec.on_read.value(On.READ, moment, self._sent(self.take()))
        return self._last_read

    def _sent(self, value: bytes) -> bytes:
        """What becomes of a value on its way out."""
        return self.spec.distorted.apply(value, self.spec.format) if self.spec.distorted else value

    async def _write(self, connection: Connection, value: bytes) -> None:
        self._writes += 1
        self.device.occurs("write", self.spec.called, connection)
        if self.spec.on_write.check:
            self._check(value)
        moment = Moment(self.device, self._writes, connection)
        happening = Happening(self.device, connection, self.spec.on_write.value(On.STORE, moment, value))
        lag = self.spec.on_write.lag(On.STORE, moment)
        happens = [(self._reaction, happening, moment)]
        if lag < math.inf and (found := self._reaction.case(happening)):
            case, inner = found
            happens.append((case, inner, Moment(self.device, case.times, connection)))
        await self._react(happens, lag)

    async def _react(self, happens: list[tuple[Reaction, Happening, Moment]], lag: float) -> None:
        for reaction, _, moment in happens:
            await reaction.spec.begin(On.WRITE, moment)
        answered = all(reaction.spec.is_answered(On.WRITE, moment) for reaction, _, moment in happens)
        if lag:
            self.device.postpone(lag, lambda: self._carry_out(happens, store=answered))
        else:
            self._carry_out(happens, store=answered)
        for reaction, _, moment in happens:
            await reaction.spec.end(On.WRITE, moment)

    def _carry_out(self, happens: list[tuple[Reaction, Happening, Moment]], *, store: bool) -> None:
        if store and self.spec.on_write.store:
            self._store(happens[0][1].written)
        try:
            for reaction, happening, _ in happens:
                reaction.happen(self.device, happening)
        except Unfit:
            raise Refused(att.ErrorCode.OUT_OF_RANGE) from None

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
        self._kept[str(connection.peer_address)] = bytes((notify | indicate << 1, 0))
        plan = self.spec.notify
        if plan and connection in self._notifiers and (plan.early or (plan.goes_on and not (notify or indicate))):
            return
        if task := self._notifiers.pop(connection, None):
            task.cancel()
        if notify or indicate:
            self.device.occurs("subscribe", self.spec.called, connection)
        if plan and (notify or indicate):
            self._begin(connection)

    def on_connection(self, connection: Connection) -> None:
        if self.spec.notify and self.spec.notify.early:
            self._begin(connection)

    def _begin(self, connection: Connection) -> None:
        self._updates.on_subscription(connection)
        self._notifiers[connection] = self.device.spawn(self._notify(connection))

    def resume(self, connection: Connection) -> None:
        """Send to who has been subscribed on an earlier link, whatever protects this one: a fault."""
        if value := self._kept.get(str(connection.peer_address)):
            self.device.server.resume(connection, self.attribute, value)

    def forget(self, connection: Connection) -> None:
        self._updates.forget(connection)
        if task := self._notifiers.pop(connection, None):
            task.cancel()

    async def _notify(self, connection: Connection) -> None:
        """Values at their times; a value whose time has passed while the air was busy is not made."""
        plan, loop = self.spec.notify, asyncio.get_running_loop()
        assert plan is not None
        due = loop.time()
        jitter, most = self.device.chance("jitter"), plan.jitter.seconds
        period = plan.period.seconds * self.device.clock
        sent, waiting = 0, list[bytes]()
        while plan.count is None or sent < plan.count:
            due = max(due + period, loop.time())
            await asyncio.sleep(due + jitter.uniform(0.0, most) - loop.time())
            waiting.append(self.take())
            sent += 1
            if plan.drop_every is not None and sent % plan.drop_every == 0:
                waiting.pop()
            if sent % plan.burst == 0:
                for value in waiting:
                    await self._send(connection, value)
                waiting = []

    def send_current(self) -> None:
        self.device.spawn(self.send_to_subscribers(self.take()))

    def send_changes(self, source: Source) -> None:
        """Send what a source gives when its state becomes another one, as long as values come from it."""
        self.device.spawn(self._send_changes(source, asyncio.get_running_loop().time()))

    async def _send_changes(self, source: Source, begins: float) -> None:
        for change in source.pattern.changes():
            await until(begins + change)
            if not self._value.comes_from(source):
                return
            await self.send_to_subscribers(self.take())

    def send_answer(self, pieces: Callable[[int], list[bytes]], every: float) -> None:
        """Send the pieces of an answer, made for the payload of each link, to all that listen."""
        for connection in self.device.connections:
            self.device.spawn(self._send_answer(connection, pieces(connection.att_mtu - HEADER), every))

    async def _send_answer(self, connection: Connection, pieces: list[bytes], every: float) -> None:
        for index, piece in enumerate(pieces):
            if index:
                await asyncio.sleep(every)
            if connection in self.device.connections:
                await self._send(connection, piece)

    def send_timed(self, values: Sequence[tuple[float, bytes]]) -> None:
        """Send these to all that listen, each so many seconds from now."""
        for connection in self.device.connections:
            self.device.spawn(self._send_timed(connection, values, asyncio.get_running_loop().time()))

    async def _send_timed(self, connection: Connection, values: Sequence[tuple[float, bytes]], begins: float) -> None:
        for after, value in values:
            await asyncio.sleep(begins + after - asyncio.get_running_loop().time())
            if connection not in self.device.connections:
                return
            await self._send(connection, value)

    async def send_to_subscribers(self, value: bytes) -> None:
        for connection in list(self.device.connections):
            await self._send(connection, value)

    async def _send(self, connection: Connection, value: bytes) -> None:
        await self._updates.send(connection, self._sent(value))


def uuid_on_air(uuid: str) -> UUID:
    """As a device sends it: 16 bits where it has 16, else 128; ATT carries no others (Core Vol 3 Part F 3.2.1)."""
    short = short_uuid(uuid)
    return UUID(short if len(short) == 4 else uuid)


class _Attribute(Characteristic[bytes]):
    """bumble would print the whole characteristic for a debug line that nobody reads."""

    def __str__(self) -> str:
        return f"characteristic {self.handle}"


def _descriptor(spec: DescriptorSpec, of: Format | None) -> Descriptor:
    permissions = _READABLE | (_WRITABLE if spec.writable else 0)
    return Descriptor(uuid_on_air(spec.descriptor), att.Attribute.Permissions(permissions), spec.octets(of))
