"""The sources of chance of an air.

There is one for each cause and unit, each seeded by its name: one unit more, or one cause more, shifts no other draw.
"""

from __future__ import annotations

import random


class Chance:
    """Everything random in an air. A seed gives the same draws in every process."""

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._sources: dict[tuple[str, str], random.Random] = {}

    def of(self, cause: str, who: object = "") -> random.Random:
        """The source for what happens to `who` by this cause; the same one every time."""
        key = cause, str(who)
        if key not in self._sources:
            self._sources[key] = random.Random(f"{self._seed} {key[0]} {key[1]}")
        return self._sources[key]
