"""Many time-outs by one timer of the loop. Nearly all work ends long before its time; to set and take back a timer for each
costs more than all else about it."""

from __future__ import annotations

import asyncio
import contextlib
import math


class Deadlines:
    """Of what one link or one run is waiting for. A scope is an `asyncio.timeout(None)` that was entered; it is taken out
    before it is left."""

    def __init__(self) -> None:
        self._scopes: dict[asyncio.Timeout, float] = {}
        self._timer: asyncio.TimerHandle | None = None

    def __bool__(self) -> bool:
        """Whether anything is waited for."""
        return bool(self._scopes)

    def add(self, scope: asyncio.Timeout, when: float) -> None:
        """The scope ends at a time of the loop's clock, at the latest."""
        self._scopes[scope] = when
        if self._timer is None or when < self._timer.when():
            self._look_at(when)

    def discard(self, scope: asyncio.Timeout) -> None:
        self._scopes.pop(scope, None)

    def end_by(self, when: float) -> None:
        """None of the scopes goes on after this time."""
        for scope, end in self._scopes.items():
            self._scopes[scope] = min(end, when)
        self._look(asyncio.get_running_loop().time())

    def close(self) -> None:
        """Nothing is waited for any more."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _look_at(self, when: float) -> None:
        self.close()
        if when < math.inf:
            # a timer may come a little early: what is due then is over
            self._timer = asyncio.get_running_loop().call_at(when, self._look, when)

    def _look(self, due: float) -> None:
        """End what is over, and look again when the next one is."""
        for scope, when in self._scopes.items():
            if when <= due:
                with contextlib.suppress(RuntimeError):  # it is ending already
                    scope.reschedule(asyncio.get_running_loop().time())
        self._look_at(min((when for when in self._scopes.values() if when > due), default=math.inf))
