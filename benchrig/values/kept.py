"""So many samples of a reading, evenly over all that came."""

from __future__ import annotations

from typing import Any

# The most samples that a reading keeps, and the most characters of those that are no numbers.
MOST_KEPT = 10_000
_MOST_CHARACTERS = 1_000_000


class Keeper:
    """Keeps `most` samples at most: where there is no room left every second one goes, and from then on so many
    fewer are kept. The first one always stays."""

    def __init__(self, most: int) -> None:
        self.values: list[Any] = []
        self.times: list[float] = []
        self.every = 1
        self.count = 0
        self._most, self._characters = most, 0

    def add(self, at: float, value: Any) -> None:
        """A value that is JSON data."""
        if self.count % self.every == 0:
            while self._is_full and len(self.values) > 1:
                self._thin()
            if not self._is_full and self.count % self.every == 0:
                self.values.append(value)
                self.times.append(at)
                self._characters += _characters(value)
        self.count += 1

    @property
    def _is_full(self) -> bool:
        return len(self.values) >= self._most or self._characters >= _MOST_CHARACTERS

    def _thin(self) -> None:
        self.values, self.times, self.every = self.values[::2], self.times[::2], 2 * self.every
        self._characters = sum(map(_characters, self.values))

    @property
    def left_out(self) -> int:
        return self.count - len(self.values)


def _characters(value: Any) -> int:
    return 0 if isinstance(value, (bool, int, float)) else len(str(value))
