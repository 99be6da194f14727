"""Yield: the share of the units that passed, at their first test and at their last.

Runs are given in the order of time, as one entry a run in each sequence. A unit is whatever tells it from others.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from functools import lru_cache

import msgspec

from benchrig.study import proportion

CONFIDENCE = 0.95


class Share(msgspec.Struct, frozen=True):
    """So many passed of so many, with two intervals for the share behind it: exact (Clopper and Pearson, Biometrika 26,
    1934) and by the score test (Wilson, JASA 22, 1927). Without any there is none."""

    passed: int
    of: int
    share: float | None = None
    exact: tuple[float, float] | None = None
    wilson: tuple[float, float] | None = None
    confidence: float = CONFIDENCE


@lru_cache(maxsize=4096)  # hours of a line have the same few
def share_of(passed: int, of: int, confidence: float = CONFIDENCE) -> Share:
    if not of:
        return Share(passed, of, confidence=confidence)
    exact = proportion.interval(passed, of, confidence)
    score = proportion.wilson(passed, of, (1 + confidence) / 2)
    return Share(passed, of, passed / of, exact, score, confidence)


def first_runs(units: Sequence[Hashable]) -> list[int]:
    """Which run of each unit was its first, in the order of time."""
    seen: dict[Hashable, int] = {}
    for index, unit in enumerate(units):
        seen.setdefault(unit, index)
    return sorted(seen.values())


def first_tests(units: Sequence[Hashable], first_of: Sequence[str], counts: Mapping[str, bool]) -> list[int]:
    """The same, without those that say themselves that they are no first test: `first_of` names the run that was it, "" for
    none. Where that run does not count, as its station failed, the next one is the first; one that is not known counts."""
    return [index for index in first_runs(units) if not (first_of[index] and counts.get(first_of[index], True))]


def last_runs(units: Sequence[Hashable]) -> list[int]:
    """Which run of each unit was its last, in the order of time."""
    return sorted({unit: index for index, unit in enumerate(units)}.values())


def passed_of(passed: Sequence[bool], which: Sequence[int]) -> int:
    return sum(passed[index] for index in which)


def passed_again(
    units: Sequence[Hashable], passed: Sequence[bool], states: Sequence[Hashable | None]
) -> list[tuple[int, int]]:
    """The runs of a unit that passed right after one that failed, with that one, where its state is the same in both. Where
    it is not known (None) nothing is said."""
    found, before = [], dict[Hashable, int]()
    for index, unit in enumerate(units):
        last = before.get(unit)
        if last is not None and passed[index] > passed[last] and states[index] == states[last] is not None:
            found.append((last, index))
        before[unit] = index
    return found
