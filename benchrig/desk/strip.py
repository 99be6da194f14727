"""A number over time, kept in little memory, to be drawn."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from itertools import groupby

# The finest column that can be drawn, in seconds, and how many of them are kept.
SLICE = 0.1
KEPT_SLICES = 6000


class Strip:
    """Numbers by the slice of time in which they came."""

    def __init__(self) -> None:
        # slice, how many came, their sum; nothing came where the numbers end
        self._slices: deque[tuple[int, int, float]] = deque(maxlen=KEPT_SLICES)

    def add(self, at: float, value: float) -> None:
        """A number that came at this time; times never go back."""
        number = int(at / SLICE)
        if self._slices and self._slices[-1][0] == number and self._slices[-1][1]:
            _, count, total = self._slices.pop()
            self._slices.append((number, count + 1, total + value))
        else:
            self._slices.append((number, 1, value))

    def end(self, at: float) -> None:
        """From here on nothing is known, until the next number."""
        self._slices.append((int(at / SLICE), 0, 0.0))

    def columns(self, now: float, count: int, slices: int = 1) -> list[float | None]:
        """The newest `count` columns of so many slices each: the mean of what came, else the value before, None where
        nothing is known."""
        last = int(now / SLICE) // slices
        first = last - count + 1
        held: float | None = None
        drawn: list[float | None] = []
        for column, (mean, after) in self._by_column(slices, first):
            if column > last:
                break
            drawn += [held] * (column - first - len(drawn)) if column >= first else []
            drawn += [mean if mean is not None else held] if column >= first else []
            held = after
        return drawn + [held] * (count - len(drawn))

    def _by_column(self, slices: int, first: int) -> Iterator[tuple[int, tuple[float | None, float | None]]]:
        """Columns in which something happened: their mean, and the value that holds after them."""
        recent = self._recent(first * slices)
        for column, group in groupby(recent, key=lambda each: each[0] // slices):
            items = list(group)
            number = sum(count for _, count, _ in items)
            mean = sum(total for _, _, total in items) / number if number else None
            _, count, total = items[-1]
            yield column, (mean, total / count if count else None)

    def _recent(self, since: int) -> list[tuple[int, int, float]]:
        """The slices from `since` on, and the one before."""
        recent = []
        for each in reversed(self._slices):
            recent.append(each)
            if each[0] < since:
                break
        return recent[::-1]
