"""One subscription in the background: counts, keeps, and shows what comes, within what a person can read."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from benchrig.desk.inspection import content
from benchrig.desk.prompt.deeds import Subject, WatchDone

if TYPE_CHECKING:
    from benchrig.radio.table import Characteristic

# A terminal gets so many lines at once, and then so many a second; in between the newest stands for the others.
AT_ONCE = 20
A_SECOND = 4.0


class Subscription:
    """`time_of` is the time of day of one on the loop's clock. `show` gets a result for each notification, with
    `passed_over` for those before it that were not shown; what comes before `begin` is shown after it."""

    def __init__(
        self,
        characteristic: Characteristic,
        subject: Subject,
        show: Callable[[dict[str, Any]], None],
        time_of: Callable[[float], str],
        *,
        thinned: bool = False,
    ) -> None:
        self.characteristic, self.subject = characteristic, subject
        self._loop = asyncio.get_running_loop()
        self.seen = WatchDone(subject, self._loop.time())
        self._show = show
        self._time_of = time_of
        self._thinned = thinned
        self._early: list[tuple[float, bytes]] | None = []
        self._left, self._refilled = float(AT_ONCE), self._loop.time()
        self._passed_over = 0
        self._newest: tuple[float, bytes] | None = None
        self._timer: asyncio.TimerHandle | None = None

    def begin(self) -> None:
        """The device has taken the subscription."""
        early, self._early = self._early or [], None
        self._show(
            {"verb": "watch", "attribute": self.subject.name, "begins": True, "time": self._time_of(self._loop.time())}
        )
        for at, data in early:
            self._tell(at, data)

    def hear(self, data: bytes) -> None:
        now = self._loop.time()
        self.seen.add(now, bytes(data))
        if self._early is not None:
            self._early.append((now, bytes(data)))
        elif self._timer is not None:
            self._passed_over += self._newest is not None
            self._newest = (now, bytes(data))
        elif not self._thinned or self._may_show(now):
            self._tell(now, bytes(data))
        else:
            self._newest = (now, bytes(data))
            self._timer = self._loop.call_later(1 / A_SECOND, self._catch_up)

    def close(self) -> None:
        """Nothing is shown any more that has not been."""
        if self._timer is not None:
            self._timer.cancel()
            self._catch_up()
        if self.seen.ended is None:
            self.seen.ended = self._loop.time()

    def _may_show(self, now: float) -> bool:
        self._left = min(float(AT_ONCE), self._left + (now - self._refilled) * A_SECOND)
        self._refilled = now
        if self._left < 1:
            return False
        self._left -= 1
        return True

    def _catch_up(self) -> None:
        self._timer = None
        if self._newest is not None:
            at, data = self._newest
            self._newest = None
            # what was saved up since has been spent on this one
            self._left, self._refilled = 0.0, self._loop.time()
            self._tell(at, data)

    def _tell(self, at: float, data: bytes) -> None:
        result = {
            "verb": "watch",
            "attribute": self.subject.name,
            "seconds": round(at - self.seen.started, 6),
            "time": self._time_of(at),
            "content": content(data, self.subject.form),
        }
        if self._passed_over:
            result["passed_over"] = self._passed_over
            self._passed_over = 0
        self._show(result)
