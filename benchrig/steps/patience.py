"""The while after a refused pairing in which a device takes no other one."""

from __future__ import annotations

import asyncio

from benchrig.radio.security import NONE, REPEATED, Paired


class Patience:
    """The while is twice as long after each attempt, one that came too early too (Core Vol 3 Part H 2.3.6): so it is waited
    for four times as long each time. A device that refuses like this after no refusal is not waited for."""

    FIRST, TIMES, MOST = 4.0, 4, 256.0

    def __init__(self, *, refused: bool = False) -> None:
        """`refused`: the last pairing before has failed."""
        # attempts in a row that have failed, and the wait before this one
        self._failed, self._waited = int(refused), 0.0
        # what the while after one refusal is at most; None where nothing is known of it
        self.bound: float | None = None

    def goes_on(self, paired: Paired, within: float = MOST) -> bool:
        """Whether to wait, and to pair once more."""
        if paired.failure == REPEATED and self._failed:
            self._failed += 1
            return self._next <= min(self.MOST, within)
        if self._failed:
            self.bound = max(self.bound or 0.0, self._waited / 2 ** (self._failed - 1))
        self._failed = self._failed + 1 if paired.failure != NONE else 0
        self._waited = 0.0
        return False

    @property
    def _next(self) -> float:
        return self._waited * self.TIMES or self.FIRST

    async def wait(self) -> None:
        self._waited = self._next
        await asyncio.sleep(self._waited)

    async def before(self, otherwise: float = 0.0) -> None:
        """As long as is known to be enough after the last refusal; `otherwise` is how long where nothing is known."""
        if self._failed:
            self._waited = (otherwise if self.bound is None else self.bound) * 2 ** (self._failed - 1)
            await asyncio.sleep(self._waited)
