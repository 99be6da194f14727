"""Measurements of a crossed study: each appraiser measures each unit equally often."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchrig.study.estimate import Unsuitable

# Cells that are wrong are named up to here.
_NAMED = 10


@dataclass(frozen=True)
class Crossed:
    """values[unit][appraiser][repeat]."""

    units: tuple[str, ...]
    appraisers: tuple[str, ...]
    repeats: int
    values: tuple[tuple[tuple[float, ...], ...], ...]

    @property
    def n(self) -> int:
        return len(self.units) * len(self.appraisers) * self.repeats


Cells = Mapping[tuple[str, str], Sequence[float]]


def crossed(cells: Cells, units: Sequence[str], appraisers: Sequence[str], repeats: int) -> Crossed:
    """By (unit, appraiser). Unsuitable names every cell that is missing, short or too full: an analysis of what is left
    would need other formulas, and would not show that anything is missing."""
    wrong = [*_design(units, appraisers, repeats), *_wrong(cells, units, appraisers, repeats)]
    if wrong:
        more = [f"and {len(wrong) - _NAMED} more"] if len(wrong) > _NAMED else []
        raise Unsuitable("; ".join(wrong[:_NAMED] + more))
    values = tuple(tuple(tuple(map(float, cells[unit, who])) for who in appraisers) for unit in units)
    return Crossed(tuple(units), tuple(appraisers), repeats, values)


def _design(units: Sequence[str], appraisers: Sequence[str], repeats: int) -> Iterator[str]:
    if len(units) < 2:
        yield f"expected 2 units or more, found {len(units)}"
    if not appraisers:
        yield "expected an appraiser, found none"
    for names, what in ((units, "units"), (appraisers, "appraisers")):
        yield from (f"duplicate name among the {what}: {name}" for name in _doubled(names))
    if repeats < 2:
        yield f"expected 2 repeats or more, found {repeats}"


def _doubled(names: Sequence[str]) -> list[str]:
    return sorted({name for name in names if names.count(name) > 1})


def _wrong(cells: Cells, units: Sequence[str], appraisers: Sequence[str], repeats: int) -> Iterator[str]:
    for unit in units:
        for who in appraisers:
            found = cells.get((unit, who), ())
            if len(found) != repeats:
                word = "missing cell" if len(found) < repeats else "duplicate values"
                yield f"{word}: unit {unit}, appraiser {who}: expected {repeats} values, found {len(found)}"
            if not all(map(math.isfinite, found)):
                yield f"unit {unit}, appraiser {who}: expected numbers, found a value that is not finite"
    for unit, who in sorted(cells.keys() - {(unit, who) for unit in units for who in appraisers}):
        yield f"unknown cell: unit {unit}, appraiser {who}"
