"""The advertising channels: who advertises, who listens, when they meet.

A thousand advertisers cost nothing while nobody listens: the events nobody hears are not played, only the phase of
the next one is drawn. An event comes every interval plus a random delay of 0 to 10 ms (Core Vol 6 Part B 4.4.2.2.1).
"""

from __future__ import annotations

import asyncio
import heapq
import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import random

    from bumble import hci

    from benchrig.radio.virtual.faults import Faults

MAX_DELAY = 0.010
WEAKEST, STRONGEST = -127, 20


@dataclass
class Advertiser:
    """Something that advertises. Times in seconds, signal strength in dBm as the bench hears it.

    `until` is the loop time at which it falls silent for good; `refusals` counts connection requests that it will
    not answer.
    """

    address: hci.Address
    data: bytes = b""
    scan_response: bytes = b""
    interval: float = 0.1
    connectable: bool = True
    scannable: bool = True
    rssi_mean: float = -50.0
    rssi_spread: float = 0.0
    until: float | None = None
    refusals: int = 0
    owner: Listener | None = None

    def __post_init__(self) -> None:
        self.turn = 0  # rises when it starts or stops: what was scheduled before is void


class Listener(Protocol):
    def on_advertising(self, advertiser: Advertiser, rssi: int) -> None: ...


class Band:
    """Schedules the advertising events of all advertisers with one timer."""

    def __init__(self, rng: random.Random, faults: Faults) -> None:
        self._rng = rng
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
        if self._listeners:
            self._schedule(advertiser, asyncio.get_running_loop().time() + self._rng.uniform(0, MAX_DELAY))
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
                self._schedule(advertiser, now + self._rng.uniform(0, advertiser.interval + MAX_DELAY / 2))
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

    def measure(self, mean: float, spread: float) -> int:
        """One measurement of a signal, in whole dBm."""
        value = self._rng.gauss(mean, spread) if spread else mean
        return max(WEAKEST, min(STRONGEST, round(value)))

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
                self._schedule(advertiser, at + advertiser.interval + self._rng.uniform(0, MAX_DELAY))
                self._broadcast(advertiser)
        self._wind()

    def _broadcast(self, advertiser: Advertiser) -> None:
        for listener in list(self._listeners):
            if listener is not advertiser.owner and self._rng.random() >= self._faults.advertising_loss:
                rssi = self.measure(advertiser.rssi_mean, advertiser.rssi_spread)
                listener.on_advertising(advertiser, rssi)
