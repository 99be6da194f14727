"""Watches what attributes of a device send by themselves, through lost links where that is wanted."""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import AsyncGenerator, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeAlias

from benchrig.desk.series import Arrival, Watched
from benchrig.errors import AttributeMissing, LinkError, LinkLost, NoAnswer, UsageError
from benchrig.radio.table import Characteristic
from benchrig.run.jsonable import hex_text
from benchrig.steps.lookup import look_up

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk
    from benchrig.radio.link import Link
    from benchrig.steps.bench import Target
    from benchrig.values.format import Format

PROPERTIES = ("notify", "indicate")
SUBSCRIBE_WITHIN = 10.0
PAUSE = 0.5
# Timers may come this much early, in seconds.
CLOSE = 1e-6


@dataclass(frozen=True)
class Lost:
    """The link is gone; `at` in seconds since the watch began."""

    at: float
    reason: str


@dataclass(frozen=True)
class Hole:
    """From `start` to `end` nothing could be heard: the link was gone. `back` is False for a watch that ends so."""

    start: float
    end: float
    back: bool = True


Event: TypeAlias = Arrival | Lost | Hole


class Watch:
    """Attributes to be watched, for `seconds` or until `count` values of each have come; without either for ever.
    `form` is the format of all of them, where one is given. With `reconnect` a lost link is found again."""

    def __init__(
        self,
        desk: Desk,
        names: Sequence[str],
        *,
        form: Format | None = None,
        seconds: float | None = None,
        count: int | None = None,
        reconnect: bool = False,
        began: datetime | None = None,
    ) -> None:
        self.watched = [Watched(name, form, count) for name in dict.fromkeys(names)]
        self.unit = ""
        self.began = began or datetime.now(UTC)
        self._desk = desk
        self._form = form
        self._seconds = seconds
        self._reconnect = reconnect
        self._link: Link | None = None
        self._started = desk.now()
        self._arrived: deque[Arrival] = deque()
        self._news = asyncio.Event()

    @property
    def seconds(self) -> float:
        """Since the watch began."""
        return self._desk.now() - self._started

    @property
    def is_connected(self) -> bool:
        return self._link is not None and self._link.is_up

    @property
    def is_over(self) -> bool:
        ended = self._seconds is not None and self.seconds >= self._seconds - CLOSE
        return ended or all(each.is_complete for each in self.watched)

    def time_of(self, at: float) -> str:
        """A time of the watch as date and time, ISO 8601 in UTC."""
        moment = self.began + timedelta(seconds=at)
        return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    async def events(self) -> AsyncGenerator[Event, None]:
        """What happens, in order. DeviceNotFound, ConnectFailed, AttributeMissing, AttError; LinkLost when the link is
        lost and not wanted back."""
        self._link = await self._connected()
        with self._deadline():
            while True:
                while self._arrived:
                    yield self._arrived.popleft()
                if self.is_over:
                    return
                if not self._link.is_up:
                    lost = await self._lost(self._link)
                    yield lost
                    await self._back()
                    yield Hole(lost.at, round(self.seconds, 6), back=self.is_connected)
                    continue
                self._news.clear()
                await self._news.wait()

    # --- inside

    @contextlib.contextmanager
    def _deadline(self) -> Iterator[None]:
        """Wakes the watch when its time is over."""
        if self._seconds is None:
            yield
            return
        handle = asyncio.get_running_loop().call_at(self._started + self._seconds, self._news.set)
        try:
            yield
        finally:
            handle.cancel()

    async def _connected(self) -> Link:
        """Find the device, connect and subscribe. The first time the watch begins here."""
        unit, link = await self._desk.reach()
        self._wake_when_lost(link)
        targets = self._targets(link)
        formats = [self._form or await self._desk.format_of(link, target) for target in targets]
        if self._link is None:
            self._started = self._desk.now()
        for each, target, form in zip(self.watched, targets, formats, strict=True):
            if each.count == 0:
                each.take_format(form)
            await self._subscribe(link, each, target)
        self.unit = self.unit or unit.name or unit.address
        return link

    def _targets(self, link: Link) -> list[Target]:
        targets = [look_up(link.table, self._desk.names, each.name, PROPERTIES) for each in self.watched]
        seen: dict[int, str] = {}
        for target in targets:
            if not isinstance(target.found.attribute, Characteristic):
                raise AttributeMissing(f"{target.name} is a descriptor; only characteristics send by themselves")
            other = seen.setdefault(target.found.attribute.handle, target.name)
            if other != target.name:
                raise UsageError(
                    f"'{other}' and '{target.name}' are the same attribute", advice="leave one of them out"
                )
        return targets

    async def _subscribe(self, link: Link, watched: Watched, target: Target) -> None:
        def hear(data: bytes) -> None:
            if not self.is_over and not watched.is_complete:
                self._arrived.append(watched.take(round(self.seconds, 6), data))
                self._news.set()

        characteristic = target.found.attribute
        assert isinstance(characteristic, Characteristic)
        async with self._desk.blaming():
            await link.subscribe(characteristic, hear, f"subscribe to {watched.name}", SUBSCRIBE_WITHIN)

    def _wake_when_lost(self, link: Link) -> None:
        async def wait() -> None:
            await link.lost.wait()
            self._news.set()

        # kept, or it could be collected while it waits; the link is lost at the latest when the desk closes
        self._waiting = asyncio.ensure_future(wait())

    async def _lost(self, link: Link) -> Lost:
        """What the loss of the link means: LinkLost, unless it is wanted back."""
        start = round(self.seconds, 6)
        for each in self.watched:
            each.interrupt(start)
        if not self._reconnect:
            async with self._desk.blaming():
                raise LinkLost(f"the link was lost after {start:.3f} s ({link.lost_reason})")
        return Lost(start, link.lost_reason)

    async def _back(self) -> None:
        """Try again and again, while there is time."""
        deadline = None if self._seconds is None else self._started + self._seconds
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout_at(deadline):
                while True:
                    await self._desk.radio.tidy()
                    try:
                        self._link = await self._connected()
                        return
                    except (LinkError, NoAnswer) as error:
                        self._desk.tell(f"after {self.seconds:.1f} s: {error.message}")
                    await asyncio.sleep(PAUSE)


def event_as_data(watch: Watch, event: Event) -> dict[str, Any]:
    """An event as JSON data: 'event' is 'value', 'link lost', 'link back' or, at the end of a watch, 'no link'."""
    if isinstance(event, Lost):
        return {"event": "link lost", "at": event.at, "time": watch.time_of(event.at), "reason": event.reason}
    if isinstance(event, Hole):
        what = "link back" if event.back else "no link"
        return {"event": what, "at": event.end, "time": watch.time_of(event.end), "lost_from": event.start}
    said: dict[str, Any] = {
        "event": "value", "attribute": event.attribute, "number": event.number, "at": event.at,
        "time": watch.time_of(event.at), "gap": event.gap, "raw": hex_text(event.raw),
    }  # fmt: skip
    if event.wrong:
        return said | {"wrong": event.wrong}
    watched = next(each for each in watch.watched if each.name == event.attribute)
    if watched.form is None:
        return said
    units = {"units": watched.units} if watched.units else {"unit": watched.form.unit}
    return said | {"value": event.value} | units
