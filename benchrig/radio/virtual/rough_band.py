"""The advertising channels of a rough air: three channels, windows, collisions, requests that are not answered.

An event is judged when it is over, since what it collides with may begin after it. A listener gets at most one report
of an event, from the first of its PDUs that it receives.
"""

from __future__ import annotations

import asyncio
import math
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from benchrig.radio.virtual.backoff import Backoff
from benchrig.radio.virtual.band import UNMEASURED, Advertiser, Band, Listener, whole_level
from benchrig.radio.virtual.propagation import ADVERTISING_CHANNELS, BETWEEN_PACKETS, Crowd, Path, advertising_time

if TYPE_CHECKING:
    from benchrig.radio.virtual.chance import Chance
    from benchrig.radio.virtual.conditions import Conditions
    from benchrig.radio.virtual.faults import Faults

ADDRESS = 6
LONGEST = advertising_time(ADDRESS + 31)
REQUEST_OCTETS, CONNECT_OCTETS = 12, 34  # payloads of SCAN_REQ and CONNECT_IND (Core Vol 6 Part B 2.3)
REQUEST, CONNECT = advertising_time(REQUEST_OCTETS), advertising_time(CONNECT_OCTETS)
# From the end of an advertisement to the end of the longest scan response.
EXCHANGE = BETWEEN_PACKETS + REQUEST + BETWEEN_PACKETS + LONGEST
_REMEMBERED = 10e-3  # longer than any event with its exchange
_STEADY = 30.0  # seconds after which nothing of the phase of a unit is known any more


class Event(NamedTuple):
    """One advertising event: a PDU of `time` seconds on each channel, at `at` and every `spacing` after it."""

    at: float
    spacing: float
    time: float
    advertiser: Advertiser
    path: Path
    turn: int

    def start(self, index: int) -> float:
        return self.at + index * self.spacing


@dataclass
class Heard:
    """What a listener got of an event: the channel's index, the level, and that of a scan response."""

    listener: Listener
    index: int
    level: float
    answer: float | None = None


class RoughBand(Band):
    """A band under these conditions."""

    def __init__(self, chance: Chance, faults: Faults, conditions: Conditions) -> None:
        super().__init__(chance, faults)
        self._conditions = conditions
        self._crowd = Crowd(conditions)
        self._paths: dict[str, Path] = {}
        self._on_air: deque[Event] = deque()
        self._last: dict[int, tuple[int, float]] = {}
        self._since: dict[Listener, float] = {}
        self._backoffs: dict[Listener, Backoff] = {}

    def path_of(self, advertiser: Advertiser) -> Path:
        unit = advertiser.owner.name if advertiser.owner else str(advertiser.address)
        if unit not in self._paths:
            self._paths[unit] = Path(self._conditions, self._chance, unit)
        return self._paths[unit]

    def listen(self, listener: Listener) -> None:
        """A scanner that begins anew begins with the first channel and a fresh back-off."""
        if listener not in self._listeners:
            self._since[listener] = asyncio.get_running_loop().time()
            self._backoffs[listener] = Backoff(self._chance.of("back-off", listener.name))
        super().listen(listener)

    def stop(self, advertiser: Advertiser) -> None:
        super().stop(advertiser)
        self._last.pop(id(advertiser), None)  # another one may have its place in memory later

    def _next_after(self, advertiser: Advertiser, now: float) -> float:
        """A unit goes on while nobody listens: who heard it a moment ago waits for its next event."""
        turn, last = self._last.get(id(advertiser), (0, 0.0))
        if turn != advertiser.turn or now - last > _STEADY:
            return super()._next_after(advertiser, now)
        while last <= now:
            last += self._until_next(advertiser)
        return last

    def _interval_of(self, advertiser: Advertiser) -> float:
        return advertiser.interval * self.path_of(advertiser).clock

    def _broadcast(self, advertiser: Advertiser, at: float) -> None:
        path = self.path_of(advertiser)
        time = advertising_time(advertiser.octets)
        event = Event(at, path.spacing, time, advertiser, path, advertiser.turn)
        while self._on_air and self._on_air[0].at < at - _REMEMBERED:
            self._on_air.popleft()
        self._on_air.append(event)
        self._last[id(advertiser)] = advertiser.turn, at
        over = event.start(len(ADVERTISING_CHANNELS) - 1) + time + EXCHANGE
        asyncio.get_running_loop().call_at(over, self._judge, event)

    def _judge(self, event: Event) -> None:
        """Who has heard it, and who has got an answer."""
        if event.turn != event.advertiser.turn:
            return
        others = [one for one in self._on_air if one.advertiser is not event.advertiser and _near(one, event)]
        heard = [
            found
            for listener in list(self._listeners)
            if listener is not event.advertiser.owner and (found := self._hear(event, listener, others))
        ]
        self._ask(event, heard, others)
        for found in heard:
            answer = None if found.answer is None else self._measured(event, found.answer, found.listener)
            rssi = self._measured(event, found.level, found.listener)
            found.listener.on_advertising(event.advertiser, rssi, answer)

    def _hear(self, event: Event, listener: Listener, others: list[Event]) -> Heard | None:
        rng = self._chance.of("advertising loss", f"{event.path.unit} {listener.name}")
        for index, channel in enumerate(ADVERTISING_CHANNELS):
            if not self._tuned(listener, index, event.start(index), event.time):
                continue
            level = self._level(event, channel, listener)
            octets = event.advertiser.octets
            start = event.start(index)
            lost = event.path.loses(level, octets, rng) or rng.random() < self._faults.advertising_loss
            if (
                not lost
                and not self._crowd.hits(level, event.time + LONGEST, rng)
                and not self._collides(others, index, start, start + event.time, level, listener)
            ):
                return Heard(listener, index, level)
        return None

    def _tuned(self, listener: Listener, index: int, start: float, time: float) -> bool:
        """Whether it listens on this channel for the whole of a PDU: it changes the channel with every interval (Core
        Vol 6 Part B 4.4.3)."""
        interval, window = listener.scan_timing
        since = start - self._since[listener]
        number = math.floor(since / interval)
        return since >= 0 and number % len(ADVERTISING_CHANNELS) == index and since - number * interval + time <= window

    def _level(self, event: Event, channel: int, listener: Listener) -> float:
        advertiser = event.advertiser
        rng = self._chance.of("fading", f"{event.path.unit} {listener.name}")
        mean = rng.gauss(advertiser.rssi_mean, advertiser.rssi_spread) if advertiser.rssi_spread else None
        level = event.path.level(advertiser.rssi_mean if mean is None else mean, channel, rng)
        return level - advertiser.weaker_at(listener.name)

    def _collides(
        self, others: list[Event], index: int, start: float, end: float, level: float, listener: Listener
    ) -> bool:
        """Whether another PDU is on this channel in this time, and not so weak that it does no harm."""
        for other in others:
            begins = other.start(index)
            if begins < end and begins + other.time > start:
                mean = other.path.mean_level(other.advertiser.rssi_mean, ADVERTISING_CHANNELS[index])
                mean -= other.advertiser.weaker_at(listener.name)
                if level < mean + self._conditions.capture:
                    return True
        return False

    def _ask(self, event: Event, heard: list[Heard], others: list[Event]) -> None:
        """Scan requests: two scanners that ask in one instant are both not understood."""
        if not event.advertiser.scannable:
            return
        asking = [one for one in heard if one.listener.scans_actively and self._backoffs[one.listener].asks()]
        for one in asking:
            alone = sum(other.index == one.index for other in asking) == 1
            if alone and event.advertiser.answers(one.listener.asks_as) and self._answers(event, one, others):
                one.answer = self._level(event, ADVERTISING_CHANNELS[one.index], one.listener)
            self._backoffs[one.listener].ended(answered=one.answer is not None)

    def _answers(self, event: Event, one: Heard, others: list[Event]) -> bool:
        rng = self._chance.of("scan requests", f"{event.path.unit} {one.listener.name}")
        octets = ADDRESS + len(event.advertiser.scan_response)
        start = event.start(one.index) + event.time
        time = EXCHANGE - LONGEST + advertising_time(octets)
        return not (
            event.path.loses(one.level, REQUEST_OCTETS, rng)
            or event.path.loses(one.level, octets, rng)
            or self._crowd.hits(one.level, time, rng)
            or self._collides(others, one.index, start, start + time, one.level, one.listener)
        )

    def hears_request(self, advertiser: Advertiser, listener: Listener) -> bool:
        """Whether a connection request of this listener arrives; there is no answer to it (Core Vol 6 Part B 4.5)."""
        path = self.path_of(advertiser)
        rng = self._chance.of("connection requests", f"{path.unit} {listener.name}")
        level = path.level(advertiser.rssi_mean, ADVERTISING_CHANNELS[0], rng) - advertiser.weaker_at(listener.name)
        return not (
            rng.random() < self._conditions.request_loss
            or path.loses(level, CONNECT_OCTETS, rng)
            or self._crowd.hits(level, BETWEEN_PACKETS + CONNECT, rng)
        )

    def _measured(self, event: Event, level: float, listener: Listener) -> int:
        unknown = self._chance.of("levels unknown", f"{event.path.unit} {listener.name}")
        if self._conditions.level_unknown and unknown.random() < self._conditions.level_unknown:
            return UNMEASURED
        return whole_level(level)


def _near(one: Event, event: Event) -> bool:
    return abs(one.at - event.at) < _REMEMBERED
