"""Names that stand once."""

from __future__ import annotations

import itertools


def unused(name: str, taken: set[str]) -> str:
    """The name, with a number where it is taken already; it is taken from then on."""
    others = (f"{name} ({count})" for count in itertools.count(2))
    free = next(each for each in itertools.chain([name], others) if each not in taken)
    taken.add(free)
    return free
