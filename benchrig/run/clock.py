"""The time of a run."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

from benchrig.record.model import Window


@dataclass(frozen=True)
class Clock:
    """Of the loop, with the run's own zero. On a virtual radio it is virtual."""

    started: float = field(default_factory=lambda: asyncio.get_running_loop().time())
    _loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.get_running_loop, repr=False)

    def now(self) -> float:
        return self._loop.time()

    @property
    def at(self) -> float:
        """Seconds since the start of the run."""
        return round(self._loop.time() - self.started, 6)

    def since(self, then: float) -> float:
        """Seconds from then to now, to the microsecond."""
        return round(self._loop.time() - then, 6)

    def window(self, begin: float, end: float, count: int) -> Window:
        """What a statistic is about, from two times of `now`."""
        return Window(round(begin - self.started, 6), round(end - self.started, 6), count)
