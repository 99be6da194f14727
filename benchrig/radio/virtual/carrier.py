"""What the queues and the events of a connection see of it: its parameters, its clock, whether it carries."""

from __future__ import annotations

import asyncio
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.virtual.pace import LONGEST_PACKET

if TYPE_CHECKING:
    import random

    from benchrig.radio.virtual.faults import Faults


class Timing(NamedTuple):
    """Connection parameters as in HCI: interval in 1.25 ms, latency in events, time-out in 10 ms."""

    interval: int
    latency: int
    timeout: int

    @property
    def interval_seconds(self) -> float:
        return self.interval * 1.25e-3

    @property
    def timeout_seconds(self) -> float:
        return self.timeout * 10e-3


class Carrier(ABC):
    """A connection without its ends."""

    def __init__(self, timing: Timing, faults: Faults, chance: random.Random) -> None:
        self.timing = timing
        self.faults = faults
        self.chance = chance
        self.phy = (hci.Phy.LE_1M, hci.Phy.LE_1M)  # central to peripheral, and back
        self.octets = LONGEST_PACKET
        self.anchor = asyncio.get_running_loop().time()
        self.is_up = True
        self.dark = False
        self._timers: set[asyncio.TimerHandle] = set()

    @abstractmethod
    def darken(self) -> None:
        """Nothing crosses any more, not even what is under way: both ends notice after the supervision time-out."""

    @abstractmethod
    def end(self, reason: int) -> None:
        """It ends now, for both."""

    def end_later(self, delay: float, reason: int) -> None:
        self.later(delay, lambda: self.end(reason))

    def later(self, delay: float, action: Callable[[], None]) -> None:
        """Do something after a while, unless the link has ended by then."""

        def act() -> None:
            self._timers.discard(timer)
            action()

        timer = asyncio.get_running_loop().call_later(delay, act)
        self._timers.add(timer)

    def stop_timers(self) -> None:
        for timer in self._timers:
            timer.cancel()
