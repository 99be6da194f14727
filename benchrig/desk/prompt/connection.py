"""The connection of a session: made when it is first needed, minded, and taken up again when it was lost."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from benchrig.desk.desk import Desk, in_silence
from benchrig.desk.prompt.deeds import Connected, ConnectionLost, Deeds, Disconnected
from benchrig.errors import AmbiguousDevice, BenchrigError, LinkError, LinkLost, StationError, UsageError, WrongDevice
from benchrig.radio.scan import of_device

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.scan import Sighting
    from benchrig.radio.table import Table

# Between two attempts to find a device again that was lost.
TRY_AGAIN = 2.0
CONNECT_AGAIN = "the verb 'connect' takes it up again, and the session does so by itself with --reconnect"


async def _nothing() -> None:
    pass


@dataclass
class Connection:
    """To one device at a time. `show` gets what happens as plain data, `deeds` what was done. `reconnect` looks for a
    lost device without being told. `changed` is called when the state is another one, `when_up` after each connection,
    `when_lost` after each loss. `why` is what is known to be behind a link that is gone."""

    desk: Desk
    show: Callable[[dict[str, Any]], None]
    deeds: Deeds
    reconnect: bool = False
    changed: Callable[[], None] = lambda: None
    when_up: Callable[[], Awaitable[None]] = _nothing
    when_lost: Callable[[], None] = lambda: None
    unit: Sighting | None = None
    why: BenchrigError | None = None
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)
    _returning: asyncio.Task[None] | None = None
    _minding: asyncio.Task[None] | None = None

    @property
    def link(self) -> Link | None:
        """Lost or not."""
        return self.desk.device.last

    @property
    def is_up(self) -> bool:
        return self.desk.device.is_up

    @property
    def is_busy(self) -> bool:
        """Whether a request to the device is unanswered."""
        return self.desk.device.is_busy

    @property
    def state(self) -> str:
        """'connected', 'lost' when the link ended by itself, '' without one."""
        return "" if self.link is None else "connected" if self.link.is_up else "lost"

    @property
    def table(self) -> Table | None:
        """Of the device, lost or not."""
        return self.link.table if self.link is not None else None

    @property
    def who(self) -> str:
        """What the device is called."""
        return "" if self.unit is None else self.unit.name or self.unit.address

    async def up(self) -> Link:
        """The link. The first time it is made; one that was lost is waited for if it is coming back, as long as finding
        the device may take. LinkLost, and what `connect` raises."""
        if self._returning is not None and self._returning is not asyncio.current_task():
            await asyncio.wait({self._returning}, timeout=self.desk.options.within)
        if self.link is None and self.unit is None:
            await self._connect(self.desk)
        if self.link is None:
            raise LinkLost("no device is connected", advice="the verb 'connect' makes a connection")
        if not self.link.is_up:
            raise self.why or LinkLost(f"the link was lost ({self.link.lost_reason})", advice=CONNECT_AGAIN)
        return self.link

    async def connect(self, device: str = "") -> None:
        """To the device of this name or address; without one to the device that is meant, or was. UsageError,
        DeviceNotFound, AmbiguousDevice, ConnectFailed, StationError."""
        if self.is_up:
            raise UsageError(f"{self.who} is connected", advice="disconnect first")
        self._stop_returning()
        if device:
            self.desk.means(of_device(device))
        await self._connect(self.desk)

    async def disconnect(self) -> None:
        self._stop_returning()
        if self.link is None:
            raise UsageError("no device is connected")
        await self.desk.device.close()
        self.deeds.append(Disconnected())
        self.show({"verb": "disconnect", "device": self.who})

    async def give_up(self) -> None:
        """End a link whose request was left unanswered: its late answer would be taken for that of the next one."""
        if self.link is not None and self.link.is_up:
            self.link.lost_reason = "given up with the request that was stopped"
            await self.link.disconnect()

    async def close(self) -> None:
        """End the link, and what runs in the background."""
        self._stop_returning()
        for task in [*self._tasks]:
            task.cancel()
        if self._tasks:
            await asyncio.wait(self._tasks)
        await self.desk.device.close()

    async def _connect(self, desk: Desk) -> None:
        try:
            self.unit, link = await desk.reach()
        except AmbiguousDevice as error:
            raise AmbiguousDevice(error.message, advice="connect with the name or the address of one") from error
        self.why = None
        self.deeds.append(Connected(self.unit, self.desk.options.selection, self.desk.unit))
        self._say_connected(link, desk.took)
        self.changed()
        self._minding = self._start(self._mind(link))
        await self.when_up()

    def _say_connected(self, link: Link, elapsed: float) -> None:
        assert self.unit is not None
        services = link.table.services
        self.show({
            "verb": "connect",
            "device": self.unit.name,
            "address": self.unit.address,
            "elapsed": elapsed,
            "services": len(services),
            "characteristics": sum(len(each.characteristics) for each in services),
        })  # fmt: skip

    async def loss(self) -> None:
        """Until the link is lost, and that has been said."""
        if self._minding is not None:
            await asyncio.wait({self._minding})

    async def _mind(self, link: Link) -> None:
        """Say when the link is lost, and see to its return."""
        await link.lost.wait()
        if link is not self.link:
            return
        trouble = await self.desk.radio.trouble()
        reason = link.lost_reason if trouble is None else trouble.message
        self.why = trouble
        self.when_lost()
        self.deeds.append(ConnectionLost(reason))
        self.show({"verb": "connect", "device": self.who, "lost": reason})
        self.changed()
        if self.reconnect and not isinstance(trouble, StationError):
            self._returning = self._start(self._return())

    async def _return(self) -> None:
        try:
            while not self.is_up:
                try:
                    # a prompt may stand on the screen meanwhile
                    await self._connect(replace(self.desk, doing=in_silence))
                except (LinkError, WrongDevice) as error:
                    self.why = error
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
