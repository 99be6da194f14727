"""A session with one device: its connection, what is watched, what was done; one method a verb.

Every verb shows its result as plain data and raises benchrig's errors.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import msgspec

from benchrig.desk.desk import READ_WITHIN, Desk
from benchrig.desk.exchanging import Inquiry, exchange, exchanged_data, make_ready
from benchrig.desk.inspecting import table_seen
from benchrig.desk.inspection import content
from benchrig.desk.prompt.connection import CONNECT_AGAIN, Connection
from benchrig.desk.prompt.deeds import Deeds, ExchangeDone, ReadDone, Subject, Waited, WriteDone
from benchrig.desk.prompt.subscription import Subscription
from benchrig.desk.series import typed_counter
from benchrig.desk.watching import FORMAT_ADVICE
from benchrig.desk.writing import Order, Sending, prepare, send, target_of
from benchrig.errors import AttError, BenchrigError, LinkLost, MalformedValue, UsageError
from benchrig.plan.wording import spec_of
from benchrig.steps.lookup import look_up
from benchrig.steps.subscription import NEEDS, Mode, indicates
from benchrig.values.format import FormatSpec, build_format
from benchrig.values.jsonable import moment_text

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.scan import Ear, Sighting
    from benchrig.steps.bench import Target

_ONCE = "Further writes to this attribute will not ask again."
_SETTABLE = {"write", "reliable write", "write without response"}


def _nothing() -> None:
    pass


@dataclass
class Session:
    """One device, and what is done with it."""

    desk: Desk
    # gets the result of every verb, and what happens meanwhile, as plain data
    out: Callable[[dict[str, Any]], None]
    # shows a caution and raises OperatorError unless it is acknowledged
    ask: Callable[[str], Awaitable[None]]
    # the plan's word on writing
    caution: str = ""
    acknowledged: bool = False
    # look for a lost device by itself
    reconnect: bool = False
    # spare a terminal what nobody could read
    thinned: bool = False
    # called when the connection is up, or lost
    changed: Callable[[], None] = _nothing
    # the time of day at the beginning
    began: datetime = field(default_factory=lambda: datetime.now(UTC))
    deeds: Deeds = field(default_factory=Deeds)
    watches: dict[str, Subscription] = field(default_factory=dict)
    heard: list[str] = field(default_factory=list)
    # the attribute that the last line came to
    about: str = ""
    _malformed: Counter[str] = field(default_factory=Counter)
    _asked: set[tuple[str, int]] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._started = self.desk.now()
        self.connection = Connection(self.desk, self, self.reconnect)

    def show(self, result: dict[str, Any]) -> None:
        for key, name in (("content", "attribute"), ("answer", "reply")):
            if getattr(result.get(key), "wrong", ""):
                self._malformed[result[name]] += 1
        self.out(result)

    def check(self) -> None:
        """MalformedValue when values did not fit their format."""
        if self._malformed:
            counts = ", ".join(f"{count} of {name}" for name, count in self._malformed.items())
            raise MalformedValue(f"values did not fit their format: {counts}", advice=FORMAT_ADVICE)

    def time_of(self, at: float) -> str:
        """A time of the radio's clock as date and time, ISO 8601 in UTC."""
        return moment_text(self.began + timedelta(seconds=at - self._started))

    async def scan(self, seconds: float) -> None:
        async with self.desk.listening() as ear:
            await asyncio.sleep(seconds)
        devices = sorted(ear.heard.values(), key=lambda each: (-each.strength, each.address))
        self.heard = [each.name or each.address for each in devices]
        self.show({"verb": "scan", "seconds": seconds, "devices": self._devices(ear, devices)})

    async def connect(self, device: str = "") -> None:
        """To the device of this name or address; without one to the device that is meant, or was."""
        if device and not self.connection.is_up:
            self._end_watches()
        await self.connection.connect(device)

    async def disconnect(self) -> None:
        self._end_watches()
        await self.connection.disconnect()

    async def services(self) -> None:
        table = (await self.connection.up()).table
        self.show({"verb": "table", "services": table_seen(table, self.desk.names)})

    async def read(self, name: str, spec: FormatSpec | None = None) -> None:
        self.about = name
        link = await self.connection.up()
        target = look_up(link.table, self.desk.names, name, ("read",))
        subject = await self._subject(link, target, spec)
        done = ReadDone(subject, at=self.desk.now())
        with self._deed(done):
            async with self.desk.blaming(), self._unheard(link, target):
                data = done.data = await link.read(target.found.attribute, f"read {name}", READ_WITHIN)
        self.show({"verb": "read", "attribute": name, "content": content(data, subject.form)})

    async def write(self, order: Order, spec: FormatSpec | None = None) -> None:
        """MalformedValue when the device does not keep what is read back, OperatorError when it is not acknowledged."""
        self.about = order.attribute
        link = await self.connection.up()
        subject = await self._subject(link, target_of(self.desk, link, order), spec)
        order = replace(order, form=subject.form)
        order.check(self.desk.names)
        prepared, sending = await prepare(self.desk, link, order), Sending()
        try:
            await self._acknowledge(order, prepared.target.found.attribute.handle)
            done = WriteDone(subject, prepared.data, self.desk.now(), order.response, order.read_back)
            with self._deed(done, sending):
                written = await send(self.desk, link, prepared, sending)
                if written.error:
                    raise MalformedValue(written.error, advice=written.advice)
        except asyncio.CancelledError:
            self.show({"verb": "write", "attribute": order.attribute, "stopped": sending.state})
            raise
        items = msgspec.structs.asdict(written).items()
        self.show({"verb": "write", **{key: each for key, each in items if each not in (None, "")}})

    async def exchange(self, inquiry: Inquiry, spec: FormatSpec | None = None) -> None:
        """Write, and show what answers; the format that is given is that of the answer. MalformedValue when answers are
        missing, OperatorError when it is not acknowledged."""
        order = inquiry.order
        self.about = order.attribute
        link = await self.connection.up()
        inquiry.check(self.desk.names)
        ready, sending = await make_ready(self.desk, link, inquiry), Sending()
        reply = replace(await self._subject(link, ready.target, spec), form=ready.form)
        subject = await self._subject(link, ready.write.target, None)
        try:
            await self._acknowledge(order, ready.write.target.found.attribute.handle)
            done = ExchangeDone(
                subject, ready.write.data, self.desk.now(), order.response,
                reply=reply, starts_with=inquiry.starts_with, answers=inquiry.answers,
            )  # fmt: skip
            with self._deed(done, sending):
                exchanged, done.answer = await exchange(self.desk, link, ready, sending)
                if exchanged.error:
                    raise MalformedValue(exchanged.error, advice=exchanged.advice)
        except asyncio.CancelledError:
            self.show({"verb": "exchange", "attribute": order.attribute, "stopped": sending.state})
            raise
        self.show({"verb": "exchange", **exchanged_data(exchanged)})

    @contextlib.contextmanager
    def _deed(self, done: ReadDone | WriteDone, sending: Sending | None = None) -> Iterator[None]:
        """What was asked of the device is kept, whatever comes of it: a command that reboots it ends the link."""
        self.deeds.append(done)
        try:
            yield
        except AttError as error:
            if isinstance(done, WriteDone) and sending is not None and sending.is_confirmed:
                done.read_back, done.remark = False, error.message
            else:
                done.refused = error.name
            raise
        except BenchrigError as error:
            done.remark = error.message
            raise
        except asyncio.CancelledError:
            done.remark = f"stopped: {sending.state}" if sending else "stopped"
            raise

    async def watch(
        self, name: str, spec: FormatSpec | None = None, counter: str | None = None, mode: Mode | None = None
    ) -> None:
        """Subscribe; what comes is shown until it is unwatched, and counted by a field that counts up. Misfit for
        another one."""
        self.about = name
        link = await self.connection.up()
        target = look_up(link.table, self.desk.names, name, NEEDS[mode])
        characteristic: Any = target.found.attribute
        if not hasattr(characteristic, "properties"):
            raise UsageError(f"{name} is a descriptor; only characteristics send notifications")
        alike = [each for each, watch in self.watches.items() if watch.characteristic == characteristic]
        if alike:
            raise UsageError(f"{alike[0]} is watched already", advice=f"unwatch {alike[0]}")
        subject = await self._subject(link, target, spec)
        tally = typed_counter(subject.form, counter) if counter is not None else None
        watch = Subscription(characteristic, subject, self.show, self.time_of, thinned=self.thinned)
        watch.seen.counter, watch.seen.mode, watch.seen.tally = counter, mode, tally
        async with self.desk.blaming():
            await self._subscribe(watch)
        self.watches[name] = watch
        self.deeds.append(watch.seen)
        watch.begin()

    async def _subscribe(self, watch: Subscription) -> None:
        doing, wish = f"watch {watch.subject.name}", indicates(watch.seen.mode)
        await self.desk.device.subscribe(watch.characteristic, watch.hear, doing, READ_WITHIN, wish)

    async def unwatch(self, name: str = "") -> None:
        """End one subscription, or all."""
        if name and name not in self.watches:
            raise UsageError(f"{name} is not watched", advice=f"watched: {', '.join(self.watches) or 'nothing'}")
        for each in [name] if name else [*self.watches]:
            watch = self.watches.pop(each)
            async with self.desk.blaming():
                await self.desk.device.unsubscribe(watch.characteristic, watch.hear, READ_WITHIN, f"unwatch {each}")
            self._end(watch)

    async def wait(self, seconds: float) -> None:
        """A link that is lost meanwhile ends it, unless it is taken up again by itself."""
        started, link = self.desk.now(), self.connection.link
        if self.reconnect or link is None or not link.is_up:
            await asyncio.sleep(seconds)
        else:
            async with self.desk.blaming():
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(seconds):
                        await self.connection.loss()
                        waited = self.desk.now() - started
                        raise LinkLost(f"the link was lost {waited:.3g} s into the wait", advice=CONNECT_AGAIN)
        self.deeds.append(Waited(seconds, started))
        self.show({"verb": "wait", "seconds": seconds})

    async def close(self) -> None:
        """End everything."""
        self._end_watches()
        await self.connection.close()

    async def _subject(self, link: Link, target: Target, spec: FormatSpec | None) -> Subject:
        """The attribute, in the format that is given, or known, or that the device says itself."""
        if spec is None and target.format is None:
            presented = await self.desk.presented(link, target)
            spec = spec_of(presented) if presented is not None else None
        settable = bool(_SETTABLE & set(getattr(target.found.attribute, "properties", ())))
        form = build_format(spec) if spec else target.format
        return Subject(target.name, form, spec, settable, target.found.attribute.uuid)

    @contextlib.asynccontextmanager
    async def _unheard(self, link: Link, target: Target) -> AsyncIterator[None]:
        """Where the radio delivers what is read as a notification too, what is watched is not listened to meanwhile."""
        watch = next((each for each in self.watches.values() if each.characteristic == target.found.attribute), None)
        if watch is None or not self.desk.radio.reads_reach_listeners:
            yield
            return
        self.desk.tell(f"{target.name} is not listened to while it is read: this radio mixes the two up")
        device, doing = self.desk.device, f"unwatch {target.name}"
        await device.unsubscribe(watch.characteristic, watch.hear, READ_WITHIN, doing)
        try:
            yield
        finally:
            if link.is_up:
                await self._subscribe(watch)

    def lost(self) -> None:
        for watch in self.watches.values():
            watch.close()
            watch.seen.cut()

    async def connected(self) -> None:
        """Take up what was watched when the link was lost."""
        again = [*self.watches.values()]
        self.watches.clear()
        for watch in again:
            await self.watch(watch.subject.name, watch.subject.spec, watch.seen.counter, watch.seen.mode)

    def _end_watches(self) -> None:
        for watch in self.watches.values():
            self._end(watch)
        self.watches.clear()

    def _end(self, watch: Subscription) -> None:
        """Close it, and say what came."""
        watch.close()
        seen = watch.seen
        tally = seen.tally
        counted = {"lost": tally.lost, "duplicated": tally.duplicated} if tally is not None else {}
        self.show(counted | {
            "verb": "unwatch",
            "attribute": watch.subject.name,
            "count": seen.came.count,
            "seconds": round((seen.ended or seen.started) - seen.started, 6),
            "rate": None if seen.came.rate is None else round(seen.came.rate, 6),
        })  # fmt: skip

    async def _acknowledge(self, order: Order, handle: int) -> None:
        """Ask before the first write to each attribute of a device."""
        unit = self.connection.unit
        assert unit is not None
        if self.acknowledged or (unit.address, handle) in self._asked:
            return
        await self.ask(f"{order.caution(unit, self.caution)}\n{_ONCE}")
        self._asked.add((unit.address, handle))

    def _devices(self, ear: Ear, devices: list[Sighting]) -> list[dict[str, Any]]:
        meant = {each.address for each in ear.selected(self.desk.options.selection)}
        return [
            {
                "name": each.name,
                "address": each.address,
                "address_type": each.address_type,
                "rssi": each.median_rssi,
                "services": [self.desk.names.label(uuid, "service") for uuid in each.services],
                "meant": each.address in meant,
            }
            for each in devices
        ]
