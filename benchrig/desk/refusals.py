"""Pairings that a device refuses: what was refused, and the while after that in which it takes no other one."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

from benchrig.radio.security import NONE, REASONS, REPEATED, Paired, Wish

# What a refusal is about; that there were too many attempts is none of its own.
REFUSALS = frozenset(REASONS.values()) - {REPEATED}


@dataclass(frozen=True)
class Refusal:
    """One pairing that the device has refused; `passkey` is the wrong one that was typed."""

    what: str
    wish: Wish
    paired: Paired
    passkey: int | None = field(default=None, repr=False)


class Typing:
    """Types this passkey, whatever the device shows."""

    def __init__(self, passkey: int) -> None:
        self._passkey = passkey

    async def enter(self) -> int | None:
        return self._passkey

    def chosen(self) -> int | None:
        return None

    async def show(self, passkey: int) -> None:
        """Nobody types it."""

    async def compare(self, number: int) -> bool:
        return False


class Patience:
    """The while is twice as long after each attempt, one that came too early too (Core Vol 3 Part H 2.3.6): so it is waited
    for four times as long each time. A device that refuses like this after no refusal is not waited for."""

    FIRST, TIMES, MOST = 4.0, 4, 256.0

    def __init__(self) -> None:
        # attempts in a row that have failed, and the wait before this one
        self._failed, self._waited = 0, 0.0
        # what the while after one refusal is at most; None where nothing is known of it
        self.bound: float | None = None

    def goes_on(self, paired: Paired) -> bool:
        """Whether to wait, and to pair once more."""
        if paired.failure == REPEATED and self._failed:
            self._failed += 1
            return self._next <= self.MOST
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
