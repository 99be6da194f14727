"""Where the values of a simulated characteristic come from.

A Source gives octets; a Pattern gives one value, and the parts of a structure each have their own. Drawn numbers are
rounded to what the format can carry and kept within its range.
"""

from __future__ import annotations

import copy
from abc import ABC, abstractmethod
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from benchrig.radio.virtual.clock import INSTANT
from benchrig.values.quantity import exact

if TYPE_CHECKING:
    import random

    from benchrig.values.base import Format


class Pattern(ABC):
    """Gives one value after the other. `elapsed` is the time since the device was switched on, in seconds."""

    @abstractmethod
    def take(self, elapsed: float, rng: random.Random) -> Any: ...

    def examples(self) -> list[Any]:
        """Values that stand for all it can give, to check them against the format before the run."""
        return []

    @property
    def runs_on(self) -> bool:
        """Whether it gives another value when time goes on."""
        return False

    def changes(self) -> list[float]:
        """The times at which its state becomes another one."""
        return []


@dataclass
class Constant(Pattern):
    value: Any

    def take(self, elapsed: float, rng: random.Random) -> Any:
        return self.value

    def examples(self) -> list[Any]:
        return [self.value]


@dataclass(frozen=True)
class Steps:
    """What a format can carry: multiples of `size` from `base` on, between `low` and `high`; no size is any number."""

    size: Fraction | None = None
    base: Fraction = Fraction(0)
    low: Fraction | None = None
    high: Fraction | None = None

    def nearest(self, value: Fraction) -> Fraction:
        return self.nearest_to(value.numerator, value.denominator)

    def nearest_to(self, value: int, of: int) -> Fraction:
        """The nearest to value/of. In whole numbers: fractions for every sample would cost too much."""
        if self.low is not None and value * self.low.denominator < self.low.numerator * of:
            return self._round(self.low.numerator, self.low.denominator)
        if self.high is not None and value * self.high.denominator > self.high.numerator * of:
            return self._round(self.high.numerator, self.high.denominator)
        return self._round(value, of)

    def _round(self, value: int, of: int) -> Fraction:
        """A half goes to the even number of steps."""
        if self.size is None:
            return Fraction(value, of)
        base, size, below = self.base, abs(self.size), self.base.denominator
        distance = (value * below - base.numerator * of) * size.denominator
        step = below * of * size.numerator
        number, rest = divmod(distance, step)
        if 2 * rest > step or (2 * rest == step and number % 2):
            number += 1
        steps = number * size.numerator * below + base.numerator * size.denominator
        return Fraction(steps, size.denominator * below)

    def last(self, value: Fraction) -> Fraction:
        """The last one that is not above; it wraps behind the highest."""
        if self.size is None:
            return value
        reached = (value - self.base) // self.size
        if self.high is not None:
            reached %= (self.high - self.base) // self.size + 1
        return reached * self.size + self.base


@dataclass
class Ramp(Pattern):
    """From `start` to `end` in a straight line over `over` seconds, and then stays there."""

    start: Fraction
    end: Fraction
    over: float
    steps: Steps = field(default_factory=Steps)

    def take(self, elapsed: float, rng: random.Random) -> Fraction:
        part = Fraction(min(1.0, elapsed / self.over))
        return self.steps.nearest(self.start + (self.end - self.start) * part)

    def examples(self) -> list[Any]:
        return [self.start, self.end]

    @property
    def runs_on(self) -> bool:
        return True


@dataclass
class Clock(Pattern):
    """Seconds that go on, from `start` or from what was written."""

    start: Fraction
    steps: Steps = field(default_factory=Steps)

    def take(self, elapsed: float, rng: random.Random) -> Fraction:
        return self.steps.last(self.start + Fraction(elapsed))

    def examples(self) -> list[Any]:
        return [self.start]

    @property
    def runs_on(self) -> bool:
        return True

    def set_to(self, value: Any) -> Clock:
        return Clock(exact(value), self.steps)


@dataclass
class States(Pattern):
    """One after the other, each from its time on; the last one stays."""

    states: list[tuple[float, Pattern]]

    def take(self, elapsed: float, rng: random.Random) -> Any:
        begin, pattern = [state for state in self.states if state[0] <= elapsed + INSTANT][-1]
        return pattern.take(elapsed - begin, rng)

    def examples(self) -> list[Any]:
        return [example for _, pattern in self.states for example in pattern.examples()]

    @property
    def runs_on(self) -> bool:
        return True

    def changes(self) -> list[float]:
        return [begin for begin, _ in self.states[1:]]


@dataclass
class RandomBytes(Pattern):
    """So many bytes, each time others."""

    count: int

    def take(self, elapsed: float, rng: random.Random) -> bytes:
        return rng.randbytes(self.count)

    def examples(self) -> list[Any]:
        return [bytes(self.count)]


@dataclass
class Noise(Pattern):
    """Each value drawn anew from a normal distribution."""

    mean: Fraction
    sd: Fraction
    steps: Steps = field(default_factory=Steps)

    def take(self, elapsed: float, rng: random.Random) -> Fraction:
        drawn, of = rng.gauss(0.0, 1.0).as_integer_ratio()
        mean, sd = self.mean, self.sd
        value = mean.numerator * sd.denominator * of + drawn * sd.numerator * mean.denominator
        return self.steps.nearest_to(value, mean.denominator * sd.denominator * of)

    def examples(self) -> list[Any]:
        return [self.mean]


@dataclass
class Counter(Pattern):
    """Counts the values taken. Beyond what its format carries, from `low` up to but without `end`, it goes on as a
    counter of the same size would: with the rest, from `base` on."""

    start: Fraction
    step: Fraction
    base: Fraction
    low: Fraction | None = None
    end: Fraction | None = None

    def __post_init__(self) -> None:
        self._next = self.start

    def take(self, elapsed: float, rng: random.Random) -> Fraction:
        value = self._next
        self._next += self.step
        if self.end is not None and (self._next >= self.end or (self.low is not None and self._next < self.low)):
            self._next = self.base + (self._next - self.base) % (self.end - self.base)
        return value

    def examples(self) -> list[Any]:
        return [self.start]


@dataclass
class TextCounter(Pattern):
    """A text in which a number counts the values taken."""

    counter: Counter
    before: str
    after: str
    digits: int = 1

    def take(self, elapsed: float, rng: random.Random) -> str:
        return f"{self.before}{int(self.counter.take(elapsed, rng)):0{self.digits}d}{self.after}"

    def examples(self) -> list[Any]:
        return [f"{self.before}{int(self.counter.start):0{self.digits}d}{self.after}"]


@dataclass
class Cycle(Pattern):
    """The values of a list one after the other, and from the beginning again."""

    patterns: list[Pattern]

    def __post_init__(self) -> None:
        self._at = 0

    def take(self, elapsed: float, rng: random.Random) -> Any:
        pattern = self.patterns[self._at]
        self._at = (self._at + 1) % len(self.patterns)
        return pattern.take(elapsed, rng)

    def examples(self) -> list[Any]:
        return [example for pattern in self.patterns for example in pattern.examples()]


@dataclass
class Fields(Pattern):
    """A structure, each field with its own pattern."""

    fields: dict[str, Pattern]

    def take(self, elapsed: float, rng: random.Random) -> dict[str, Any]:
        return {name: pattern.take(elapsed, rng) for name, pattern in self.fields.items()}

    def examples(self) -> list[Any]:
        return [{name: (pattern.examples() or [None])[0] for name, pattern in self.fields.items()}]

    @property
    def runs_on(self) -> bool:
        return any(pattern.runs_on for pattern in self.fields.values())

    def changes(self) -> list[float]:
        return sorted({change for pattern in self.fields.values() for change in pattern.changes()})


@dataclass
class Items(Pattern):
    """A list, each item with its own pattern."""

    items: list[Pattern]

    def take(self, elapsed: float, rng: random.Random) -> list[Any]:
        return [pattern.take(elapsed, rng) for pattern in self.items]

    def examples(self) -> list[Any]:
        return [[(pattern.examples() or [None])[0] for pattern in self.items]]


@dataclass
class Source:
    """Octets: a pattern's values through a format, or octets as they are when there is no format."""

    pattern: Pattern
    format: Format | None = None

    def take(self, elapsed: float, rng: random.Random) -> bytes:
        """The next value. Raises MalformedValue for a value that the format cannot carry."""
        value = self.pattern.take(elapsed, rng)
        return value if self.format is None else self.format.encode(value)

    def fresh(self) -> Source:
        """The same from its beginning; a format has no state and is shared."""
        return Source(copy.deepcopy(self.pattern), self.format)


def octets(value: bytes) -> Source:
    return Source(Constant(value))
