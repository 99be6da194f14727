"""The advertising channels: who advertises, who listens, when they meet.

A thousand advertisers cost nothing while nobody listens: the events nobody hears are not played, only the phase of
the next one is drawn. An event comes every interval plus a random delay of 0 to 10 ms (Core Vol 6 Part B 4.4.2.2.1).
"""

from __future__ import annotations

import asyncio
import heapq
import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import random

    from benchrig.radio.bumble_stack.bumble_api import hci
    from benchrig.radio.virtual.chance import Chance
    from benchrig.radio.virtual.faults import Faults
    from benchrig.radio.virtual.propagation import Path

MAX_DELAY = 0.010
# Of high duty directed advertising: at most 3.75 ms, and no delay (Core Vol 6 Part B 4.4.2.4.3)
HIGH_DUTY_INTERVAL = 3.5e-3
_ADDRESS = 6  # octets
# Bits of an advertising filter policy (Core Vol 4 Part E 7.8.5): whose requests are heard from the accept list alone
_SCANS, _CONNECTS = 1, 2
WEAKEST, STRONGEST = -127, 20
UNMEASURED = 127  # of a level, Core Vol 4 Part E 7.7.65.2


@dataclass
class Advertiser:
    """Something that advertises. Times in seconds, signal strength in dBm as the bench hears it.

    `near` is the name of the listener that it is beside, all others hear it weaker by `apart` dB; '' where all hear it alike.
    `directed_to` is the one central that it is for: all others pass it over, and there are no data. `listed` is the accept
    list, `policy` what that decides. `until` is the loop time at which it falls silent for good; `refuses` is asked
    at each connection request whether it leaves it unanswered.
    """

    address: hci.Address
    data: bytes = b""
    scan_response: bytes = b""
    interval: float = 0.1
    connectable: bool = True
    scannable: bool = True
    rssi_mean: float = -50.0
    rssi_spread: float = 0.0
    near: str = ""
    apart: float = 0.0
    until: float | None = None
    refuses: Callable[[], bool] = field(default=lambda: False, repr=False)
    owner: Listener | None = None
    directed_to: hci.Address | None = None
    high_duty: bool = False
    policy: int = 0
    listed: Callable[[hci.Address], bool] = field(default=lambda _: False, repr=False)

    def __post_init__(self) -> None:
        self.turn = 0  # rises when it starts or stops: what was scheduled before is void
        self.chance: random.Random  # from its start on

    @property
    def said(self) -> bytes:
        """The data of its advertising PDUs."""
        return b"" if self.directed_to is not None else self.data

    @property
    def octets(self) -> int:
        """The payload of its advertising PDUs: its address, and the data or the address of its central."""
        return _ADDRESS + (_ADDRESS if self.directed_to is not None else len(self.data))

    @property
    def delay(self) -> float:
        """The next event comes up to so much later than its interval says."""
        return 0.0 if self.high_duty else MAX_DELAY

    def weaker_at(self, listener: str) -> float:
        """By so many dB this listener hears it weaker than the one that it is beside."""
        return self.apart if self.near and listener != self.near else 0.0

    def answers(self, scanner: hci.Address) -> bool:
        """Whether it answers a scan request from this address."""
        return self.scannable and (not self.policy & _SCANS or self.listed(scanner))

    def admits(self, central: hci.Address) -> bool:
        """Whether it answers a connection request from this address."""
        return not self.policy & _CONNECTS or self.listed(central)


class Listener(Protocol):
    """`scan_timing` is interval and window of its scan, in seconds, `asks_as` the address in its scan requests; `answer` the
    level of a scan response that came."""

    @property
    def name(self) -> str: ...

    @property
    def scans_actively(self) -> bool: ...

    @property
    def scan_timing(self) -> tuple[float, float]: ...

    @property
    def asks_as(self) -> hci.Address: ...

    def on_advertising(self, advertiser: Advertiser, rssi: int, answer: int | None) -> None: ...


class Band:
    """Schedules the advertising events of all advertisers with one timer."""

    def __init__(self, chance: Chance, faults: Faults) -> None:
        self._chance = chance
        self._faults = faults
        self._advertisers: dict[int, Advertiser] = {}
        self._listeners: dict[Listener, None] = {}
        self._events: list[tuple[float, int, int, Advertiser]] = []
        self._order = itertools.count()
        self._timer: asyncio.TimerHandle | None = None

    def start(self, advertiser: Advertiser) -> None:
        """The first event comes after a random delay, as all do: no radio is on the air in the same instant."""
        self._advertisers[id(advertiser)] = advertiser
        advertiser.turn += 1
        advertiser.chance = self._chance.of("advertising", advertiser.address)
        if self._listeners:
            self._schedule(advertiser, asyncio.get_running_loop().time() + advertiser.chance.uniform(0, MAX_DELAY))
            self._wind()

    def stop(self, advertiser: Advertiser) -> None:
        self._advertisers.pop(id(advertiser), None)
        advertiser.turn += 1

    def is_on(self, advertiser: Advertiser) -> bool:
        return id(advertiser) in self._advertisers

    def listen(self, listener: Listener) -> None:
        if not self._listeners:
            now = asyncio.get_running_loop().time()
            for advertiser in self._advertisers.values():
                self._schedule(advertiser, self._next_after(advertiser, now))
        self._listeners[listener] = None
        self._wind()

    def unlisten(self, listener: Listener) -> None:
        self._listeners.pop(listener, None)
        if not self._listeners:
            self.close()

    def close(self) -> None:
        self._events.clear()
        if self._timer:
            self._timer.cancel()
            self._timer = None

    def hears_request(self, advertiser: Advertiser, listener: Listener) -> bool:
        """Whether a connection request of this listener arrives."""
        return True

    def path_of(self, advertiser: Advertiser) -> Path | None:
        """The way to a unit, where the air is rough."""
        return None

    def _schedule(self, advertiser: Advertiser, at: float) -> None:
        heapq.heappush(self._events, (at, next(self._order), advertiser.turn, advertiser))

    def _wind(self) -> None:
        if self._timer:
            self._timer.cancel()
        self._timer = asyncio.get_running_loop().call_at(self._events[0][0], self._play) if self._events else None

    def _play(self) -> None:
        self._timer = None
        now = asyncio.get_running_loop().time()
        while self._events and self._events[0][0] <= now:
            at, _, turn, advertiser = heapq.heappop(self._events)
            if turn == advertiser.turn and (advertiser.until is None or at < advertiser.until):
                # Scheduled first: whoever hears it may connect, which stops it.
                self._schedule(advertiser, at + self._until_next(advertiser))
                self._broadcast(advertiser, at)
        self._wind()

    def _next_after(self, advertiser: Advertiser, now: float) -> float:
        """Its next event, when nobody has listened for a while."""
        return now + advertiser.chance.uniform(0, advertiser.interval + advertiser.delay / 2)

    def _until_next(self, advertiser: Advertiser) -> float:
        """From one of its events to the next."""
        return self._interval_of(advertiser) + advertiser.chance.uniform(0, advertiser.delay)

    def _interval_of(self, advertiser: Advertiser) -> float:
        return advertiser.interval

    def _broadcast(self, advertiser: Advertiser, at: float) -> None:
        """Who listens hears it, and has the scan response for the asking."""
        for listener in list(self._listeners):
            if listener is not advertiser.owner and advertiser.chance.random() >= self._faults.advertising_loss:
                mean = advertiser.rssi_mean - advertiser.weaker_at(listener.name)
                rssi = measure(advertiser.chance, mean, advertiser.rssi_spread)
                listener.on_advertising(advertiser, rssi, rssi if advertiser.answers(listener.asks_as) else None)


def measure(rng: random.Random, mean: float, spread: float) -> int:
    """One measurement of a signal, in whole dBm."""
    return whole_level(rng.gauss(mean, spread) if spread else mean)


def whole_level(level: float) -> int:
    return max(WEAKEST, min(STRONGEST, round(level)))
