"""How much of a long record is shown: what did not pass comes before all else, and what is left out is counted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from benchrig.source.problem import counted

T = TypeVar("T")

READINGS = 2000
# Of what failed so many steps, and readings of a step, are told before all others.
FAILED = 50
STEPS = 500
LINES = 3000
PLOTS = 24
OCTETS = 300


def most_telling(items: Sequence[T], most: int, is_bad: Callable[[T], bool]) -> list[T]:
    """At most so many, in their order: those that are bad, then the first ones."""
    if len(items) <= most:
        return [*items]
    order = sorted(range(len(items)), key=lambda at: (not is_bad(items[at]), at))
    return [items[at] for at in sorted(order[:most])]


def left_out(count: int, noun: str, elsewhere: str) -> str:
    """'1200 readings are left out here: …'; '' for none."""
    if not count:
        return ""
    return f"{counted(count, noun)} {'is' if count == 1 else 'are'} left out here: {elsewhere}"
