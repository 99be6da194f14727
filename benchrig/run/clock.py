"""The time of a run."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from benchrig.record.events import Window


@dataclass(frozen=True)
class Clock:
    """Of the loop, with the run's own zero. On a virtual radio it is virtual."""

    started: float = field(default_factory=lambda: asyncio.get_running_loop().time())
    # date and time of this zero, by the clock on the wall; a virtual loop has one of its own, the same in every run
    began: datetime = field(default_factory=lambda: getattr(asyncio.get_running_loop(), "date", None) or datetime.now())
    _loop: asyncio.AbstractEventLoop = field(default_factory=asyncio.get_running_loop, repr=False)

    def now(self) -> float:
        return self._loop.time()

    @property
    def at(self) -> float:
        """Seconds since the start of the run."""
        return round(self._loop.time() - self.started, 6)

    def seconds(self, then: float) -> float:
        """From the start of the run to a time of `now`."""
        return round(then - self.started, 6)

    @property
    def date(self) -> str:
        """The date and time of now, as values of this kind are written."""
        return (self.began + timedelta(seconds=self.at)).isoformat(timespec="seconds")

    def since(self, then: float) -> float:
        """Seconds from then to now, to the microsecond."""
        return round(self._loop.time() - then, 6)

    def window(self, begin: float, end: float, count: int) -> Window:
        """What a statistic is about, from two times of `now`."""
        return Window(self.seconds(begin), self.seconds(end), count)
