"""The connection of a session: made when it is first needed, minded, and taken up again when it was lost."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Protocol

from benchrig.desk.desk import Desk, in_silence
from benchrig.desk.prompt.deeds import Connected, ConnectionLost, Deeds, Disconnected, EncryptDone, PairDone
from benchrig.desk.securing import wish_of
from benchrig.errors import AmbiguousDevice, BenchrigError, LinkError, LinkLost, NoAnswer, StationError, UsageError
from benchrig.radio.choosing import Advice
from benchrig.radio.scan import of_device
from benchrig.radio.security import Capability, Encrypted, Paired
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from benchrig.radio.link import Link
    from benchrig.radio.scan import Sighting
    from benchrig.radio.table import Table

# Between two attempts to find a device again that was lost.
TRY_AGAIN = 2.0
ADVICE = Advice("its name or address is written in full", "connect with the name or the address of one")
CONNECT_AGAIN = "type 'connect', or start the session with --reconnect"


class Listener(Protocol):
    """Who is told what happens to a connection."""

    deeds: Deeds

    def show(self, result: dict[str, Any]) -> None: ...

    async def connected(self) -> None:
        """After each connection."""

    def lost(self) -> None:
        """After each loss."""

    def changed(self) -> None:
        """The state is another one."""


def _secured(capability: Capability, made: Paired | Encrypted) -> PairDone | EncryptDone:
    """What --pair came to when the device was connected."""
    return PairDone(wish_of(capability), made) if isinstance(made, Paired) else EncryptDone(made)


@dataclass
class Connection:
    """To one device at a time."""

    desk: Desk
    listener: Listener
    # look for a lost device without being told
    reconnect: bool = False
    unit: Sighting | None = None
    # what is known to be behind a link that is gone
    why: BenchrigError | None = None
    _minding: asyncio.Task[object] | None = None
    _tasks: Tasks = field(default_factory=Tasks)
    # not set while a lost device is looked for
    _settled: asyncio.Event = field(default_factory=asyncio.Event)

    def __post_init__(self) -> None:
        self._settled.set()

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
        if self._minding is not asyncio.current_task():
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(self.desk.options.within):
                    await self._settled.wait()
        if self.link is None and self.unit is None:
            await self.connect()
        if self.link is None:
            raise LinkLost("no device is connected", advice="type 'connect' first")
        if not self.link.is_up:
            raise self.why or LinkLost(f"the link was lost ({self.link.lost_reason})", advice=CONNECT_AGAIN)
        return self.link

    async def connect(self, device: str = "") -> None:
        """To the device of this name or address; without one to the device that is meant, or was. UsageError,
        DeviceNotFound, AmbiguousDevice, ConnectFailed, StationError."""
        if self.is_up:
            raise UsageError(f"{self.who} is connected", advice="disconnect first")
        self._stop_minding()
        link = await (self._change_to(device) if device else self._connect(self.desk))
        self._minding = self._tasks.leave(self._mind(link))
        await self.listener.connected()

    async def _change_to(self, device: str) -> Link:
        """Connect to another device; where that fails the one before is still the one that is meant."""
        before = self.desk.options, self.desk.device
        self.desk.means(of_device(device), ADVICE)
        try:
            return await self._connect(self.desk)
        except BaseException:
            self.desk.options, self.desk.device = before
            raise

    async def disconnect(self) -> None:
        self._stop_minding()
        if self.link is None:
            raise UsageError("no device is connected")
        await self.desk.device.close()
        self.listener.deeds.append(Disconnected())
        self.listener.show({"verb": "disconnect", "device": self.who})

    async def give_up(self) -> None:
        """End a link whose request was left unanswered: its late answer would be taken for that of the next one."""
        if self.link is not None and self.link.is_up:
            self.link.lost_reason = "given up with the request that was stopped"
            await self.link.disconnect()

    async def close(self) -> None:
        """End the link, and what runs in the background."""
        await self._tasks.close()
        await self.desk.device.close()

    async def _connect(self, desk: Desk) -> Link:
        try:
            self.unit, link = await desk.reach()
        except AmbiguousDevice as error:
            raise AmbiguousDevice(error.message, advice=ADVICE.several) from error
        self.why = None
        self.listener.deeds.append(Connected(self.unit, self.desk.options.selection, self.desk.unit))
        if desk.options.pair is not None and desk.secured is not None:
            self.listener.deeds.append(_secured(desk.options.pair, desk.secured))
        self._say_connected(link, desk.took)
        self.listener.changed()
        return link

    def _say_connected(self, link: Link, elapsed: float) -> None:
        assert self.unit is not None
        services = link.table.services
        self.listener.show({
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

    async def _mind(self, link: Link | None) -> None:
        """Say when the link is lost, and see to its return."""
        while link is not None:
            await link.lost.wait()
            if link is not self.link:
                return
            trouble = self.why = await self.desk.radio.trouble()
            self._say_lost(
                ConnectionLost(link.lost_reason, link.lost_at) if trouble is None else ConnectionLost(trouble.message)
            )
            if not self.reconnect or isinstance(trouble, StationError):
                return
            link = await self._return()

    def _say_lost(self, loss: ConnectionLost) -> None:
        self.listener.lost()
        self.listener.deeds.append(loss)
        self.listener.show({"verb": "connect", "device": self.who, "lost": loss.reason})
        self.listener.changed()

    async def _return(self) -> Link | None:
        """The new link, lost or not; None when it is of no use to go on."""
        # a prompt may stand on the screen meanwhile
        quiet, link = replace(self.desk, doing=in_silence), None
        self._settled.clear()
        try:
            link = await quiet.until_back(lambda: self._connect(quiet), self._remember, TRY_AGAIN)
            await self.listener.connected()
        except (LinkError, NoAnswer):
            await asyncio.sleep(TRY_AGAIN)  # lost again
        except BenchrigError as error:
            self.listener.show({"verb": "connect", "error": error.message, "advice": error.advice})
        finally:
            self._settled.set()
        return link

    def _remember(self, error: BenchrigError) -> None:
        self.why = error

    def _stop_minding(self) -> None:
        if self._minding is not None:
            self._minding.cancel()
            self._minding = None
