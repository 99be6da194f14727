"""The link of a rough air: connection events in which nothing crosses, packets that are lost, a bounded number of them.

What is lost comes again in the next event (Core Vol 6 Part B 4.5.9): hosts see lateness, never loss, a double or another
order. When nothing crosses for the supervision time-out the link ends, before its first packet after six events
(4.5.2).
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.virtual.airqueue import Queue
from benchrig.radio.virtual.pace import exchange_time, fragments
from benchrig.radio.virtual.propagation import Path

if TYPE_CHECKING:
    import random

    from benchrig.radio.virtual.carrier import Carrier
    from benchrig.radio.virtual.conditions import Conditions

EVENTS_TO_ESTABLISH = 6
_DATA_CHANNELS = 37
_HOP = 7  # of 5 to 16, Core Vol 6 Part B 4.5.8.2
_AHEAD = 16  # events whose fate is drawn before they come


class Events:
    """The fates of the connection events of one link, by their number from the anchor on."""

    def __init__(
        self, link: Carrier, path: Path, conditions: Conditions, rng: random.Random, mean: float, weaker: float = 0.0
    ) -> None:
        self._link, self._path, self._conditions, self._rng, self._mean = link, path, conditions, rng, mean
        self._weaker = weaker
        self._failed = bytearray()
        self._established = False
        self.ended = False

    @property
    def most(self) -> int:
        """So many failed events in a row end the link."""
        if not self._established:
            return EVENTS_TO_ESTABLISH
        timing = self._link.timing
        return math.floor(timing.timeout_seconds / timing.interval_seconds + 1e-9)

    def begin_anew(self) -> None:
        """The parameters of the link have changed, and its anchor."""
        self._failed.clear()

    def watch(self) -> None:
        """Draw what comes, also while nobody has anything to say: an idle link can be lost as well."""
        if not self._link.is_up:
            return
        loop = asyncio.get_running_loop()
        interval = self._link.timing.interval_seconds
        self.fails(max(0, math.floor((loop.time() - self._link.anchor) / interval)) + _AHEAD)
        self._link.later(_AHEAD / 2 * interval, self.watch)

    def fails(self, number: int) -> bool:
        """Whether nothing crosses in this event."""
        while len(self._failed) <= number:
            self._failed.append(self._poll_fails(len(self._failed)))
            self._look_at(len(self._failed) - 1)
        return bool(self._failed[number])

    def loses(self, number: int, octets: int, *, alone: bool) -> bool:
        """Whether a packet of data is lost; with one that is `alone` nothing crosses in its event."""
        lost = self._path.loses(self._level(number), octets, self._rng)
        if lost and alone:
            self._failed[number] = True
            self._look_at(number)
        return lost

    def _poll_fails(self, number: int) -> bool:
        """The two empty packets that a link lives from."""
        if self._rng.random() < max(self._conditions.event_loss, self._link.faults.loss):
            return True
        path, rng = self._path, self._rng
        return path.loses(self._level(number), 0, rng) or path.loses(self._level(number), 0, rng)

    def _level(self, number: int) -> float:
        return self._path.level(self._mean, number * _HOP % _DATA_CHANNELS, self._rng) - self._weaker

    def level_of(self, rng: random.Random) -> float:
        """The level of some packet, in dBm."""
        return self._path.level(self._mean, rng.randrange(_DATA_CHANNELS), rng) - self._weaker

    def _look_at(self, number: int) -> None:
        """End the link when this event is one of too many in a row."""
        if not self._failed[number]:
            self._established = True
            return
        first = number
        while first > 0 and self._failed[first - 1]:
            first -= 1
        last = number
        while last + 1 < len(self._failed) and self._failed[last + 1]:
            last += 1
        if last - first + 1 >= self.most and not self.ended:
            self.ended = True
            self._end(first)

    def _end(self, first: int) -> None:
        """Of the failed events this is the first."""
        timing, anchor = self._link.timing, self._link.anchor
        if self._established:
            at = anchor + (first - 1) * timing.interval_seconds + timing.timeout_seconds
            reason = hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR
        else:
            at = anchor + EVENTS_TO_ESTABLISH * timing.interval_seconds
            reason = hci.HCI_ErrorCode.CONNECTION_FAILED_TO_BE_ESTABLISHED_ERROR
        self._link.end_later(at - asyncio.get_running_loop().time(), reason)


class RoughQueue(Queue):
    """One direction; each packet of a PDU takes its own chance."""

    def __init__(self, link: Carrier, events: Events, most: int, *, to_central: bool) -> None:
        super().__init__(link, to_central=to_central)
        self._events, self._most = events, most
        self._event = self._used = 0

    def begin_anew(self) -> None:
        self._event = self._used = 0

    def send(self, octets: int, arrive: Callable[[], None], extra: float) -> None:
        link = self._link
        if link.dark or not link.is_up:
            return
        ready = asyncio.get_running_loop().time() + extra
        for size in fragments(octets, link.octets):
            end = self._carry(size, ready)
            if end is None:
                return
            self._free = ready = end
        self._due.append((self._free, arrive))
        self._wind()

    def _carry(self, octets: int, ready: float) -> float | None:
        """When the packet has crossed; None when the link ends before."""
        link = self._link
        duration = exchange_time(octets, link.phy[1 if self._to_central else 0], link.octets)
        while not self._events.ended:
            start = self._place(ready, duration)
            lost = self._events.fails(self._event) or self._events.loses(self._event, octets, alone=not self._used)
            if not lost:
                self._used += 1
                return start + duration
            ready, self._used = start, self._most
        return None

    def _place(self, ready: float, duration: float) -> float:
        """Behind the one before in its event, if there is room, else at the start of the next event."""
        interval, anchor = self._link.timing.interval_seconds, self._link.anchor
        end = anchor + (self._event + 1) * interval
        if self._free >= ready and self._used and self._used < self._most and self._free + duration <= end:
            return self._free
        number = max(0, math.floor((max(ready, self._free) - anchor) / interval + 1e-6) + 1)
        if self._used:
            number = max(number, self._event + 1)
        if not self._to_central:
            step = self._link.timing.latency + 1
            number = -(-number // step) * step
        self._event, self._used = number, 0
        return anchor + number * interval
