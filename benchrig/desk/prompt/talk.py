"""The state of a session: which device, whether it is connected, what is watched and what was done; one method a verb.

Every verb shows its result as plain data and raises benchrig's errors.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from benchrig.desk.desk import LISTEN, READ_WITHIN, Desk
from benchrig.desk.inspecting import content
from benchrig.desk.inspection import CharacteristicSeen, DescriptorSeen, ServiceSeen
from benchrig.desk.prompt.deeds import (
    Connected,
    Deed,
    Disconnected,
    Lost,
    ReadDone,
    Subject,
    Waited,
    WriteDone,
)
from benchrig.desk.prompt.watch import Watch
from benchrig.desk.writing import Order, write
from benchrig.errors import (
    AmbiguousDevice,
    AttError,
    BenchrigError,
    LinkError,
    LinkLost,
    MalformedValue,
    StationError,
    UsageError,
)
from benchrig.radio.scan import Ear, Selection, is_address
from benchrig.steps.lookup import look_up
from benchrig.values.format import build_format
from benchrig.values.spec import FormatSpec

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.scan import Sighting
    from benchrig.radio.table import Table
    from benchrig.steps.bench import Target

# Between two attempts to find a device again that was lost.
TRY_AGAIN = 2.0
_SETTABLE = {"write", "reliable write", "write without response"}


@dataclass
class Talk:
    """`ask` shows a caution and raises OperatorError unless it is acknowledged; `thinned` spares a terminal what
    nobody could read; `reconnect` looks for a lost device without being told; `changed` is called when the state is
    another one."""

    desk: Desk
    show: Callable[[dict[str, Any]], None]
    ask: Callable[[str], Awaitable[None]]
    caution: str = ""
    acknowledged: bool = False
    reconnect: bool = False
    thinned: bool = False
    changed: Callable[[], None] = lambda: None
    unit: Sighting | None = None
    link: Link | None = None
    deeds: list[Deed] = field(default_factory=list)
    watches: dict[str, Watch] = field(default_factory=dict)
    heard: list[str] = field(default_factory=list)
    _asked: set[str] = field(default_factory=set)
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)
    _returning: asyncio.Task[None] | None = None

    # --- what it is like now

    @property
    def is_up(self) -> bool:
        return self.link is not None and self.link.is_up

    @property
    def is_busy(self) -> bool:
        """Whether a request to the device is unanswered."""
        return self.link is not None and self.link.is_up and self.link.is_busy

    @property
    def table(self) -> Table | None:
        """Of the device, as long as it was connected once."""
        return self.link.table if self.link is not None else None

    @property
    def state(self) -> str:
        """'connected', 'lost' when the link ended by itself, '' without one."""
        return "" if self.link is None else "connected" if self.link.is_up else "lost"

    async def ready(self) -> None:
        """See that a device is connected: the first verb that needs one connects."""
        await self._up()

    # --- verbs

    async def scan(self, seconds: float) -> None:
        async with self.desk.blaming(), self.desk.listening() as ear:
            await asyncio.sleep(seconds)
        devices = sorted(ear.heard.values(), key=lambda each: (-each.median_rssi, each.address))
        self.heard = [each.name or each.address for each in devices]
        self.show({"verb": "scan", "seconds": seconds, "devices": self._devices(ear, devices)})

    async def connect(self, device: str = "") -> None:
        """To the device of this name or address; without one to the device that is meant, or was."""
        if self.is_up:
            raise UsageError(f"{self._who()} is connected", advice="disconnect first")
        self._stop_returning()
        if device:
            self.close_watches()
            chosen = Selection(address=device) if is_address(device) else Selection(name=device)
            self.desk.options = replace(self.desk.options, selection=chosen)
        await self._connect()

    async def disconnect(self) -> None:
        self._stop_returning()
        link = self.link
        if link is None:
            raise UsageError("no device is connected")
        self.close_watches()
        self.link = None
        await link.disconnect()
        self.deeds.append(Disconnected())
        self.show({"verb": "disconnect", "device": self._who()})

    async def services(self) -> None:
        table = (await self._up()).table
        self.show({"verb": "table", "services": _seen(table, self.desk)})

    async def read(self, name: str, spec: FormatSpec | None = None) -> None:
        link = await self._up()
        target = look_up(link.table, self.desk.names, name, ("read",))
        subject = _subject(target, spec)
        try:
            async with self.desk.blaming():
                data = await link.read(target.found.attribute, f"read {name}", READ_WITHIN)
        except AttError as error:
            self.deeds.append(ReadDone(subject, None, error.name))
            raise
        self.deeds.append(ReadDone(subject, data))
        self.show({"verb": "read", "attribute": name, "content": content(data, subject.form)})

    async def write(self, order: Order, spec: FormatSpec | None = None) -> None:
        """MalformedValue when the device does not keep what is read back."""
        link = await self._up()
        target = look_up(link.table, self.desk.names, order.attribute)
        data = order.bytes_in(target.format)
        await self._acknowledge(order)
        done = WriteDone(_subject(target, spec), data, self.desk.now(), order.response, order.read_back)
        try:
            written = await write(self.desk, link, order)
        except AttError as error:
            self.deeds.append(replace(done, refused=error.name, read_back=False))
            raise
        if written.error:
            self.deeds.append(replace(done, read_back=False))
            raise MalformedValue(written.error, advice=written.advice)
        self.deeds.append(done)
        self.show({"verb": "write", **{key: each for key, each in _items(written) if each not in (None, "")}})

    async def watch(self, name: str, spec: FormatSpec | None = None) -> None:
        """Subscribe; what comes is shown until it is unwatched."""
        if name in self.watches:
            raise UsageError(f"{name} is watched already", advice=f"unwatch {name}")
        link = await self._up()
        target = look_up(link.table, self.desk.names, name, ("notify", "indicate"))
        characteristic: Any = target.found.attribute
        if not hasattr(characteristic, "properties"):
            raise UsageError(f"{name} is a descriptor, which sends nothing by itself")
        if other := next((each for each, watch in self.watches.items() if watch.characteristic == characteristic), ""):
            raise UsageError(f"{name} is watched already, as {other}", advice=f"unwatch {other}")
        watch = Watch(characteristic, _subject(target, spec), self.show, thinned=self.thinned)
        self.show({"verb": "watch", "attribute": name, "begins": True})
        async with self.desk.blaming():
            await link.subscribe(characteristic, watch.hear, f"watch {name}", READ_WITHIN)
        self.watches[name] = watch
        self.deeds.append(watch.seen)

    async def unwatch(self, name: str = "") -> None:
        """End one subscription, or all."""
        if name and name not in self.watches:
            raise UsageError(f"{name} is not watched", advice=f"watched: {', '.join(self.watches) or 'nothing'}")
        for each in [name] if name else [*self.watches]:
            watch = self.watches.pop(each)
            watch.close()
            if self.link is not None and self.link.is_up:
                async with self.desk.blaming():
                    await self.link.unsubscribe(watch.characteristic, f"unwatch {each}", READ_WITHIN)
            self._tell_end(each, watch)

    async def wait(self, seconds: float) -> None:
        """A link that is lost meanwhile ends it."""
        started, link = self.desk.now(), self.link
        if link is None or not link.is_up:
            await asyncio.sleep(seconds)
        else:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(seconds):
                    await link.lost.wait()
                    raise LinkLost(f"the link was lost ({link.lost_reason})", advice="connect")
        self.deeds.append(Waited(seconds, started))
        self.show({"verb": "wait", "seconds": seconds})

    # --- between verbs

    async def give_up(self) -> None:
        """End a link whose request was left unanswered: its late answer would be taken for that of the next one."""
        if self.link is not None and self.link.is_up:
            self.link.lost_reason = "given up with the request that was stopped"
            await self.link.disconnect()

    async def close(self) -> None:
        """End what runs in the background; the desk closes the link."""
        self._stop_returning()
        link, self.link = self.link, None
        self.close_watches()
        for task in [*self._tasks]:
            task.cancel()
        if self._tasks:
            await asyncio.wait(self._tasks)
        if link is not None and link.is_up:
            await link.disconnect()

    def close_watches(self) -> None:
        for name, watch in self.watches.items():
            watch.close()
            self._tell_end(name, watch)
        self.watches.clear()

    # --- inside

    async def _up(self) -> Link:
        """The link; one that was lost is waited for if it is coming back."""
        if self._returning is not None and self._returning is not asyncio.current_task():
            await asyncio.wait({self._returning})
        if self.link is None and self.unit is None:
            await self._connect()
        if self.link is None:
            raise LinkLost("no device is connected", advice="connect")
        if not self.link.is_up:
            raise LinkLost(f"the link was lost ({self.link.lost_reason})", advice="connect")
        return self.link

    async def _connect(self) -> None:
        try:
            unit = await self.desk.find(LISTEN)
        except AmbiguousDevice as error:
            raise AmbiguousDevice(error.message, advice="connect with the name or the address of one") from error
        started = self.desk.now()
        link = await self.desk.connect(unit)
        self.unit, self.link = unit, link
        self.deeds.append(Connected(unit))
        characteristics = [each for service in link.table.services for each in service.characteristics]
        self.show({
            "verb": "connect",
            "device": unit.name,
            "address": unit.address,
            "elapsed": round(self.desk.now() - started, 6),
            "services": len(link.table.services),
            "characteristics": len(characteristics),
        })  # fmt: skip
        self.changed()
        self._start(self._mind(link))
        await self._watch_again()

    async def _watch_again(self) -> None:
        """Take up what was watched when the link was lost."""
        again = [*self.watches.values()]
        self.watches.clear()
        for watch in again:
            await self.watch(watch.subject.name, watch.subject.spec)

    async def _mind(self, link: Link) -> None:
        """Say when the link is lost, and see to its return."""
        await link.lost.wait()
        if link is not self.link:
            return
        trouble = await self.desk.radio.trouble()
        reason = link.lost_reason if trouble is None else trouble.message
        for watch in self.watches.values():
            watch.close()
        self.deeds.append(Lost(reason))
        self.show({"verb": "connect", "device": self._who(), "lost": reason})
        self.changed()
        if self.reconnect and not isinstance(trouble, StationError):
            self._returning = self._start(self._return())

    async def _return(self) -> None:
        try:
            while not self.is_up:
                try:
                    await self._connect()
                except LinkError:
                    await self.desk.radio.tidy()
                    await asyncio.sleep(TRY_AGAIN)
        except BenchrigError as error:
            self.show({"verb": "connect", "error": error.message, "advice": error.advice})
        finally:
            self._returning = None

    def _stop_returning(self) -> None:
        if self._returning is not None:
            self._returning.cancel()
            self._returning = None

    def _start(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    async def _acknowledge(self, order: Order) -> None:
        """Ask before the first write to a device."""
        unit = self.unit
        assert unit is not None
        if self.acknowledged or unit.address in self._asked:
            return
        await self.ask(order.caution(self.desk.names, unit, self.caution))
        self._asked.add(unit.address)

    def _tell_end(self, name: str, watch: Watch) -> None:
        seen = watch.seen
        seconds = round((seen.ended or seen.started) - seen.started, 6)
        rate = None if seen.rate is None else round(seen.rate, 6)
        self.show({"verb": "unwatch", "attribute": name, "count": seen.count, "seconds": seconds, "rate": rate})

    def _who(self) -> str:
        return "" if self.unit is None else self.unit.name or self.unit.address

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


def _subject(target: Target, spec: FormatSpec | None) -> Subject:
    form = build_format(spec) if spec else target.format
    settable = bool(_SETTABLE & set(getattr(target.found.attribute, "properties", ())))
    return Subject(target.name, form, spec, settable)


def _seen(table: Table, desk: Desk) -> list[ServiceSeen]:
    """The table without any value."""
    label = desk.names.label
    return [
        ServiceSeen(service.handle, service.uuid, label(service.uuid, "service"), [
            CharacteristicSeen(each.handle, each.uuid, label(each.uuid, "characteristic"), list(each.properties), [
                DescriptorSeen(part.handle, part.uuid, label(part.uuid, "descriptor")) for part in each.descriptors
            ])
            for each in service.characteristics
        ])
        for service in table.services
    ]  # fmt: skip


def _items(written: Any) -> list[tuple[str, Any]]:
    import msgspec

    return [*msgspec.structs.asdict(written).items()]
