"""The range that the keys of a limit leave: each narrows it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any


class Range:
    """Two ends, in the terms of the reading; None is no end. An open end is outside itself."""

    def __init__(self) -> None:
        self.low: Any = None
        self.high: Any = None
        self.low_open = self.high_open = False

    def narrow(self, low: Any, high: Any, *, strict: bool = False) -> None:
        if low is not None and (self.low is None or (low, strict) > (self.low, self.low_open)):
            self.low, self.low_open = low, strict
        if high is not None and (self.high is None or (high, not strict) < (self.high, not self.high_open)):
            self.high, self.high_open = high, strict

    @property
    def is_empty(self) -> bool:
        if self.low is None or self.high is None:
            return False
        return bool(self.low > self.high or (self.low == self.high and (self.low_open or self.high_open)))

    def conflict(self, text: Callable[[Any], str]) -> str:
        """What is wrong with one that is empty."""
        low, high = text(self.low), text(self.high)
        if not (self.low_open or self.high_open):
            return f"min {low} is above max {high}, so nothing could pass"
        words = f"{'above' if self.low_open else 'min'} {low} and {'below' if self.high_open else 'max'} {high}"
        return f"{words} exclude each other, so nothing could pass"
