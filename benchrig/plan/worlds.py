"""The ways in which the conditions of a plan can come out together: what `check` finds has to hold in each of them.

A world says of every condition whether it holds. Given and saved values are tried out: those that the conditions name,
those beside and between them, and where that says nothing both answers."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeAlias

from benchrig.plan.conditions import Condition, Kinds, judged
from benchrig.source.shape import Misfit
from benchrig.values.judging import shown
from benchrig.values.limit import Limit
from benchrig.values.quantity import as_number, exact, is_number

# How many worlds are looked at, and how many steps in all of them together.
MOST, LEAST, MOST_STEPS = 256, 16, 100_000

Identity: TypeAlias = tuple[str, str]


@dataclass(frozen=True)
class World:
    """`holding` are the conditions that hold in it; `said` is what each of the values is in it."""

    holding: AbstractSet[Identity]
    said: tuple[str, ...] = ()

    def has(self, conditions: Iterable[Condition]) -> bool:
        return all(each.identity in self.holding for each in conditions)


@dataclass(frozen=True)
class _Outcome:
    """What the conditions on one value come to."""

    holding: frozenset[Identity]
    said: str


def worlds(
    conditions: Iterable[Condition], words: Mapping[str, Sequence[Any]], kinds: Mapping[str, Kinds], steps: int = 0
) -> list[World]:
    """The worlds of a plan with so many `steps`. `words` are all that a value can be, where the plan lists it; `kinds` says
    what values are."""
    by_name: dict[str, dict[Identity, Condition]] = {}
    for each in conditions:
        by_name.setdefault(each.name, {})[each.identity] = each
    outcomes = [
        [*_distinct(_outcomes(name, list(each.values()), words.get(name), kinds.get(name)))]
        for name, each in by_name.items()
    ]
    together = _together(outcomes, max(LEAST, min(MOST, MOST_STEPS // max(1, steps))))
    return [World(frozenset().union(*(o.holding for o in each)), tuple(o.said for o in each)) for each in together]


def never_together(
    conditions: Iterable[Condition], words: Mapping[str, Sequence[Any]], kinds: Mapping[str, Kinds]
) -> str:
    """The name of a value of which these conditions can never all hold; '' without one."""
    by_name: dict[str, dict[Identity, Condition]] = {}
    for each in conditions:
        by_name.setdefault(each.name, {})[each.identity] = each
    for name, alike in by_name.items():
        outcomes = _outcomes(name, [*alike.values()], words.get(name), kinds.get(name))
        if len(alike) > 1 and not any(alike.keys() <= outcome.holding for outcome in outcomes):
            return name
    return ""


def _together(outcomes: list[list[_Outcome]], most: int) -> Iterable[tuple[_Outcome, ...]]:
    """All ways to combine them. Of too many those in which one value, or two, are unlike all the others; the run sees to
    the rest."""
    if math.prod(map(len, outcomes)) <= most:
        return itertools.product(*outcomes)
    first, last = tuple(each[0] for each in outcomes), tuple(each[-1] for each in outcomes)
    ways = (_changed(base, outcomes, names) for names in (0, 1, 2) for base in (first, last))
    return itertools.islice(dict.fromkeys(itertools.islice(itertools.chain.from_iterable(ways), 4 * most)), most)


def _changed(base: tuple[_Outcome, ...], outcomes: list[list[_Outcome]], names: int) -> Iterator[tuple[_Outcome, ...]]:
    """The base with so many of the values changed."""
    for places in itertools.combinations(range(len(base)), names):
        for picked in itertools.product(*(outcomes[place] for place in places)):
            changed = dict(zip(places, picked, strict=True))
            yield tuple(changed.get(place, outcome) for place, outcome in enumerate(base))


def _distinct(outcomes: Iterable[_Outcome]) -> Iterator[_Outcome]:
    """One of those in which the same conditions hold."""
    seen: set[frozenset[Identity]] = set()
    for outcome in outcomes:
        if outcome.holding not in seen:
            seen.add(outcome.holding)
            yield outcome


def _outcomes(
    name: str, conditions: list[Condition], words: Sequence[Any] | None, kinds: Kinds | None
) -> Iterator[_Outcome]:
    known = [each for each in conditions if each.limit is not None]
    for value in words if words is not None else _samples(known, kinds):
        holding = frozenset(each.identity for each in known if _holds(each.limit, value, kinds))
        said = f"{name} is {shown(value, kinds.unit if kinds else '')}"
        yield from _with_unknown(holding, said, [each for each in conditions if each.limit is None])
    if words is None and not _is_ordered(kinds):
        yield from _others(name, conditions)


def _others(name: str, conditions: list[Condition]) -> Iterator[_Outcome]:
    """Of a value that is none of those that conditions name: patterns and the like may hold or not."""
    open_ = [each for each in conditions if each.limit is None or not _names_values(each.limit)]
    yield from _with_unknown(frozenset(), f"{name} is something else", open_)


def _with_unknown(holding: frozenset[Identity], said: str, open_: list[Condition]) -> Iterator[_Outcome]:
    for answers in itertools.product((True, False), repeat=min(len(open_), 6)):
        more = {each.identity for each, answer in zip(open_, answers, strict=False) if answer}
        yield _Outcome(holding | more, said)


def _names_values(limit: Limit) -> bool:
    """Whether it holds for values alone that it names."""
    return bool({"equals", "one_of"} & {*limit.keys()})


def _is_ordered(kinds: Kinds | None) -> bool:
    """Whether samples of it stand for all values."""
    return kinds is not None and kinds.kind in ("number", "boolean")


def _holds(limit: Limit | None, value: Any, kinds: Kinds | None) -> bool:
    try:
        return limit is not None and judged(limit, value, kinds)[0].passed
    except Misfit:
        return False


# --- values to try


def _samples(conditions: list[Condition], kinds: Kinds | None) -> list[Any]:
    if kinds is not None and kinds.kind == "boolean":
        return [True, False]
    limits = [each.limit for each in conditions if each.limit is not None]
    if kinds is not None and kinds.kind == "number":
        return _numbers(limits, kinds)
    return [value for limit in limits for value in named(limit)]


def named(limit: Limit) -> list[Any]:
    """The values that a limit names."""
    keys = limit.keys()
    return [*([limit.equals] if "equals" in keys else []), *(limit.one_of if "one_of" in keys else [])]


def _numbers(limits: list[Limit], kinds: Kinds) -> list[Any]:
    """The edges of the limits, and a number in each of the ranges between and beside them."""
    edges = sorted({edge for limit in limits for edge in _edges(limit, kinds)})
    between = [(one + other) / 2 for one, other in itertools.pairwise(edges)]
    beside = [edges[0] - 1, edges[-1] + 1] if edges else [Fraction(0)]
    return [as_number(number) for number in (*edges, *between, *beside)]


def _edges(limit: Limit, kinds: Kinds) -> Iterator[Fraction]:
    for value in named(limit):
        try:
            bound = Limit(equals=value).bind(kinds.kind, kinds.unit)
        except Misfit:
            continue
        yield from (exact(edge) for edge in (bound.low,) if is_number(edge))
    try:
        whole = limit.bind(kinds.kind, kinds.unit)
    except Misfit:
        return
    yield from (exact(edge) for edge in (whole.low, whole.high) if is_number(edge))
