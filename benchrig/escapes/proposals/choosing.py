"""The fewest changes that catch the most: what matters most first, then what takes the least time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from benchrig.escapes.proposals.candidate import Candidate, Cost
from benchrig.faults.fault import Fault, Weight

# How much one fault counts for.
_COUNTS: Mapping[Weight, int] = {"grave": 9, "serious": 3, "minor": 1}
# A change that takes so many seconds has to catch twice as much as one that takes none.
_DEAR = 5.0


def chosen(
    candidates: Sequence[Candidate],
    costs: Sequence[Cost],
    matrix: Mapping[str, frozenset[int]],
    faults: Mapping[str, Fault],
) -> list[int]:
    """Greedy set cover; the numbers of candidates in the order of the plan."""
    open_, found = {name for name, by in matrix.items() if by}, set[int]()
    while open_:
        best = max(range(len(candidates)), key=lambda number: _worth(number, open_, costs, matrix, faults))
        found.add(best)
        open_ -= {name for name in open_ if best in matrix[name]}
    return sorted(_needed(found, matrix))


def _worth(
    number: int,
    open_: set[str],
    costs: Sequence[Cost],
    matrix: Mapping[str, frozenset[int]],
    faults: Mapping[str, Fault],
) -> tuple[float, float, int]:
    catches = sum(_COUNTS[faults[name].weight] for name in open_ if number in matrix[name])
    return catches / (1 + costs[number].seconds / _DEAR), -costs[number].seconds, -number


def _needed(found: set[int], matrix: Mapping[str, frozenset[int]]) -> set[int]:
    """Without those all of whose faults others of them catch: what was taken early may not be needed in the end."""
    for number in sorted(found):
        rest = found - {number}
        if all(by & rest for by in matrix.values() if by & found):
            found = rest
    return found
