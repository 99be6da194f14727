"""How a scanner holds back its scan requests when they are not answered (Core Vol 6 Part B 4.4.3.2)."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random

LARGEST_LIMIT = 256


class Backoff:
    """One state for a scanner, whomever it asks."""

    def __init__(self, rng: random.Random) -> None:
        self._rng = rng
        self.limit = self.count = 1
        self._failed = self._answered = 0

    def asks(self) -> bool:
        """A scannable advertisement was heard: whether it is asked for its scan response."""
        self.count -= 1
        return self.count == 0

    def ended(self, *, answered: bool) -> None:
        """The request was answered or not: two of a kind in a row change the limit."""
        if answered:
            self._answered, self._failed = self._answered + 1, 0
        else:
            self._answered, self._failed = 0, self._failed + 1
        if self._answered == 2:
            self._answered, self.limit = 0, max(1, self.limit // 2)
        if self._failed == 2:
            self._failed, self.limit = 0, min(LARGEST_LIMIT, self.limit * 2)
        self.count = self._rng.randint(1, self.limit)
