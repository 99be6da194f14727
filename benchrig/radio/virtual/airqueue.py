"""One direction of a connection: what was sent first arrives first, at the pace of the connection events.

Times on air: Core Vol 6 Part B, with 150 µs between packets. A packet that does not fit into what is left of a
connection event waits for the next one, and so does one that is lost.
"""

from __future__ import annotations

import asyncio
import math
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.radio.virtual.pace import exchange_time

if TYPE_CHECKING:
    from benchrig.radio.virtual.carrier import Carrier


class Queue:
    """One direction of a link: what was sent first arrives first."""

    def __init__(self, link: Carrier, *, to_central: bool) -> None:
        self._link = link
        self._to_central = to_central
        self._free = 0.0
        self._due: deque[tuple[float, Callable[[], None]]] = deque()
        self._timer: asyncio.TimerHandle | None = None

    def send(self, octets: int, arrive: Callable[[], None], extra: float) -> None:
        """Queue a PDU. `extra` seconds later than the pace of the link demands."""
        link = self._link
        if link.dark or not link.is_up:
            return
        now = asyncio.get_running_loop().time()
        duration = exchange_time(octets, link.phy[1 if self._to_central else 0], link.octets)
        start = self._start(now + extra, duration)
        lost_for = self._lost_events() * link.timing.interval_seconds
        if lost_for >= link.timing.timeout_seconds:
            link.darken()
            return
        self._free = start + lost_for + duration
        self._due.append((self._free, arrive))
        self._wind()

    def _start(self, ready: float, duration: float) -> float:
        """When the packet goes out: right behind the one before it, or at the start of a connection event."""
        interval, anchor = self._link.timing.interval_seconds, self._link.anchor
        if self._free >= ready:
            event_end = anchor + (math.floor((self._free - anchor) / interval + 1e-6) + 1) * interval
            if self._free + duration <= event_end:
                return self._free
            ready = self._free
        number = math.floor((ready - anchor) / interval + 1e-6) + 1
        if not self._to_central:
            # A peripheral with latency sleeps through the events between.
            step = self._link.timing.latency + 1
            number = -(-number // step) * step
        return anchor + number * interval

    def _lost_events(self) -> int:
        loss, rng = self._link.faults.loss, self._link.chance
        if not loss:
            return 0
        most = math.ceil(self._link.timing.timeout_seconds / self._link.timing.interval_seconds)
        count = 0
        while count < most and rng.random() < loss:
            count += 1
        return count

    def begin_anew(self) -> None:
        """The link's anchor has changed."""

    def _wind(self) -> None:
        if self._timer is None and self._due:
            self._timer = asyncio.get_running_loop().call_at(self._due[0][0], self._play)

    def _play(self) -> None:
        self._timer = None
        now = asyncio.get_running_loop().time()
        while self._due and self._due[0][0] <= now + 1e-9:
            self._due.popleft()[1]()
        self._wind()

    def close(self) -> None:
        self._due.clear()
        if self._timer:
            self._timer.cancel()
            self._timer = None
