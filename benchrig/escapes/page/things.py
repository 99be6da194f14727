"""Faults by what is broken: an attribute, the advertising, the link. What matters most comes first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from benchrig.escapes.results import Hunted, Outcome, Result, ordered
from benchrig.faults.fault import WEIGHTS

# What somebody has to look at.
OPEN: tuple[Outcome, ...] = ("blamed wrongly", "failed", "escaped", "by luck")


@dataclass(frozen=True)
class Thing:
    """`id` names its place on the page."""

    id: str
    name: str
    results: list[Result]

    def count(self, *outcomes: Outcome) -> int:
        return sum(each.outcome in outcomes for each in self.results)


def things_of(hunted: Hunted) -> list[Thing]:
    groups: dict[str, list[Result]] = {}
    for result in hunted.results:
        groups.setdefault(split(result)[0], []).append(result)
    names = sorted(groups, key=lambda name: _order(name, groups[name]))
    return [Thing(f"t{number}", name, ordered(groups[name])) for number, name in enumerate(names)]


def split(result: Result) -> tuple[str, str]:
    """'temperature: stuck' is two words; those of a pair stay together."""
    thing, colon, kind = result.fault.name.partition(": ")
    if not colon or " + " in result.fault.name:
        return ("pairs" if colon else thing), result.fault.name
    return thing, kind


def open_of(results: Iterable[Result]) -> list[Result]:
    return [each for each in results if each.outcome in OPEN]


def _order(name: str, results: list[Result]) -> tuple[list[int], str]:
    found = open_of(results)
    return [-sum(each.fault.weight == weight for each in found) for weight in WEIGHTS], name
