"""Watches what attributes of a device send by themselves, through lost links where that is wanted."""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import AsyncGenerator, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeAlias

import msgspec

from benchrig.desk.series import Arrival, Channel
from benchrig.errors import AttributeMissing, BenchrigError, LinkLost, MalformedValue, UsageError
from benchrig.radio.table import Characteristic
from benchrig.source.shape import Misfit
from benchrig.steps.lookup import look_up
from benchrig.steps.subscription import NEEDS, Mode, indicates
from benchrig.tasks import first_of
from benchrig.values.jsonable import moment_text

if TYPE_CHECKING:
    from benchrig.desk.desk import Desk
    from benchrig.radio.link import Link
    from benchrig.steps.bench import Target
    from benchrig.values.format import Format

SUBSCRIBE_WITHIN = 10.0
PAUSE = 0.5
# Timers may come this much early, in seconds.
CLOSE = 1e-6
FORMAT_ADVICE = "the device sends something else, or the format is another one: see --as"


@dataclass(frozen=True)
class LinkLoss:
    """The link is gone; `at` in seconds since the watch began."""

    at: float
    reason: str


@dataclass(frozen=True)
class Hole:
    """From `start` to `end` nothing could be heard: the link was gone. `back` is False for a watch that ends so."""

    start: float
    end: float
    back: bool = True


Event: TypeAlias = Arrival | LinkLoss | Hole


class Watch:
    """Attributes to be watched, for `seconds` or until `count` values of each have come; without either for ever.
    `form` is the format of all of them, where one is given. With `reconnect` a lost link is found again. `counter` is a
    field that counts the values of those that have it; `mode` what is asked for where both are offered."""

    def __init__(
        self,
        desk: Desk,
        names: Sequence[str],
        *,
        form: Format | None = None,
        seconds: float | None = None,
        count: int | None = None,
        reconnect: bool = False,
        counter: str | None = None,
        mode: Mode | None = None,
        began: datetime | None = None,
    ) -> None:
        self.watched = [Channel(name, form, count) for name in dict.fromkeys(names)]
        self.unit = ""
        self.began = began or datetime.now(UTC)
        self._desk = desk
        self._form = form
        self._seconds = seconds
        self._reconnect = reconnect
        self._counter, self._mode = counter, mode
        self._link: Link | None = None
        self._holes: list[Hole] = []
        self._gone_since: float | None = None
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
    def holes(self) -> list[Hole]:
        """All holes so far; one that the device has not come back from ends now."""
        if self._gone_since is None:
            return [*self._holes]
        return [*self._holes, Hole(self._gone_since, round(self.seconds, 6), back=False)]

    async def check(self) -> None:
        """What makes a watch that came to its end a failure. LinkLost when the device is gone, MalformedValue when
        values did not fit their format; StationError when the radio is gone."""
        if self._gone_since is not None:
            async with self._desk.blaming():
                gone = self.seconds - self._gone_since
                raise LinkLost(
                    f"the device was lost after {self._gone_since:.3f} s and did not come back in {gone:.3f} s"
                )
        bad = [f"{each.malformed} of {each.count} of {each.name}" for each in self.watched if each.malformed]
        if bad:
            raise MalformedValue(f"values did not fit their format: {', '.join(bad)}", advice=FORMAT_ADVICE)

    @property
    def is_over(self) -> bool:
        ended = self._seconds is not None and self.seconds >= self._seconds - CLOSE
        return ended or all(each.is_complete for each in self.watched)

    def time_of(self, at: float) -> str:
        """A time of the watch as date and time, ISO 8601 in UTC."""
        return moment_text(self.began + timedelta(seconds=at))

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
                    yield await self._lost(self._link)
                    yield await self._back()
                    continue
                self._news.clear()
                await first_of(self._news.wait(), self._link.lost.wait())

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
        """Find the device, the same one each time, connect and subscribe. The first time the watch begins here."""
        unit, link = await self._desk.reach()
        targets = self._targets(link)
        formats = [self._form or await self._desk.format_of(link, target) for target in targets]
        is_first = self._link is None
        for each, form in zip(self.watched, formats, strict=True):
            if each.count == 0:
                each.take_format(form)
        if is_first:
            self._count_by(self._counter)
            self._started = self._desk.now()
        for each, target in zip(self.watched, targets, strict=True):
            await self._subscribe(each, target)
        self.unit = self.unit or unit.name or unit.address
        return link

    def _count_by(self, field: str | None) -> None:
        """Count the values of each attribute that has the field. UsageError where none can be counted by it."""
        if field is None:
            return
        misfits = list[Misfit]()
        for each in self.watched:
            try:
                each.count_by(field)
            except Misfit as misfit:
                misfits.append(misfit)
        if len(misfits) == len(self.watched):
            raise UsageError(f"{self.watched[0].name}: {misfits[0].message}", advice=misfits[0].advice)

    def _targets(self, link: Link) -> list[Target]:
        targets = [look_up(link.table, self._desk.names, each.name, NEEDS[self._mode]) for each in self.watched]
        seen: dict[int, str] = {}
        for target in targets:
            if not isinstance(target.found.attribute, Characteristic):
                raise AttributeMissing(f"{target.name} is a descriptor; only characteristics send notifications")
            other = seen.setdefault(target.found.attribute.handle, target.name)
            if other != target.name:
                raise UsageError(
                    f"'{other}' and '{target.name}' are the same attribute", advice="leave one of them out"
                )
        return targets

    async def _subscribe(self, watched: Channel, target: Target) -> None:
        def hear(data: bytes) -> None:
            if not self.is_over and not watched.is_complete:
                self._arrived.append(watched.take(round(self.seconds, 6), data))
                self._news.set()

        characteristic = target.found.attribute
        assert isinstance(characteristic, Characteristic)
        async with self._desk.blaming():
            await self._desk.device.subscribe(
                characteristic, hear, f"subscribe to {watched.name}", SUBSCRIBE_WITHIN, indicates(self._mode)
            )

    async def _lost(self, link: Link) -> LinkLoss:
        """What the loss of the link means: LinkLost, unless it is wanted back."""
        start = round(self.seconds, 6)
        for each in self.watched:
            each.interrupt(start)
        if not self._reconnect or await self._desk.radio.trouble():
            async with self._desk.blaming():
                raise LinkLost(
                    f"the link was lost after {start:.3f} s ({link.lost_reason})",
                    advice="add --reconnect to look for the device again",
                )
        self._gone_since = start
        return LinkLoss(start, link.lost_reason)

    async def _back(self) -> Hole:
        """Try again and again, while there is time; the hole that there was. It ends with the first value that came."""
        await self._found_again()
        hole = self.holes[-1]
        if self.is_connected:
            hole = replace(hole, back=True, end=self._arrived[0].at if self._arrived else hole.end)
            self._holes.append(hole)
            self._gone_since = None
        return hole

    async def _found_again(self) -> None:
        deadline = None if self._seconds is None else self._started + self._seconds
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout_at(deadline):
                self._link = await self._desk.until_back(self._connected, self._failed, PAUSE)

    def _failed(self, error: BenchrigError) -> None:
        self._desk.tell(f"after {self.seconds:.1f} s: {error.message}")


def event_as_data(watch: Watch, event: Event) -> dict[str, Any]:
    """An event as JSON data: 'event' is 'value', 'link lost', 'link back' or, at the end of a watch, 'no link';
    'seconds' count from its beginning."""
    if isinstance(event, LinkLoss):
        return _head(watch, "link lost", event.at) | {"reason": event.reason}
    if isinstance(event, Hole):
        return _head(watch, "link back" if event.back else "no link", event.end) | {"lost_from": event.start}
    counted = {} if event.tally is None else {"lost": event.tally.lost, "duplicated": event.tally.duplicated}
    return (
        _head(watch, "value", event.at)
        | counted
        | {
            "attribute": event.attribute,
            "number": event.number,
            "gap": event.gap,
            "content": msgspec.to_builtins(event.content),
        }
    )


def _head(watch: Watch, event: str, at: float) -> dict[str, Any]:
    return {"event": event, "time": watch.time_of(at), "seconds": at}
