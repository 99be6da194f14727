"""Where good units are rejected: by which step and reading, and which bounds are too tight for the rate that is asked."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from statistics import stdev

from benchrig.escapes.results import Catch
from benchrig.rejects.results import EXAMPLES, Rejecting, Share, Side, Tight, UnitRun
from benchrig.rejects.seen import Seen
from benchrig.study.proportion import upper
from benchrig.study.rates import Rate
from benchrig.study.reaching import upper_bound


def share_of(hits: int, trials: int, confidence: float) -> Share:
    """At least one trial."""
    rate = Rate(hits, trials)
    if not hits:
        return Share(0, trials, 0.0, 0.0, upper(0, trials, confidence), "one")
    return Share(hits, trials, rate.share, *rate.interval(confidence), "two")


def rejecting(runs: Sequence[UnitRun], confidence: float) -> list[Rejecting]:
    """The most rejects first; of each limit once a unit."""
    found: dict[tuple[str, str, str], list[tuple[UnitRun, Catch]]] = {}
    for run in runs:
        for catch in _catches(run):
            found.setdefault((catch.node, catch.reading, catch.cause), []).append((run, catch))
    made = [_rejecting(each, len(runs), confidence) for each in found.values()]
    return sorted(made, key=lambda each: (-each.rate.hits, each.node, each.reading))


def _catches(run: UnitRun) -> Iterator[Catch]:
    if run.came.by is not None:
        yield run.came.by
        yield from run.came.also


def _rejecting(of: Sequence[tuple[UnitRun, Catch]], trials: int, confidence: float) -> Rejecting:
    one = of[0][1]
    first = sum(run.came.by is catch for run, catch in of)
    units = [run.number for run, _ in of][:EXAMPLES]
    rate = share_of(len(of), trials, confidence)
    return Rejecting(one.node, one.step, one.reading, one.cause, rate, first, units, one.message)


def by_limit(runs: Iterable[UnitRun]) -> dict[tuple[str, str], list[tuple[int, Seen]]]:
    """What each limit saw, with the numbers of the units."""
    found: dict[tuple[str, str], list[tuple[int, Seen]]] = {}
    for run in runs:
        for seen in run.seen:
            found.setdefault((seen.node, seen.reading), []).append((run.number, seen))
    return found


def too_tight(
    limits: Mapping[tuple[str, str], Sequence[tuple[int, Seen]]],
    names: Mapping[str, str],
    rate: float,
    confidence: float,
) -> list[Tight]:
    """The bounds that a larger share of the units is beyond."""
    found: list[Tight] = []
    for (node, reading), of in limits.items():
        for side in ("low", "high"):
            bound = _Bound.of(side, [seen for _, seen in of])
            if bound and bound.outside > rate * len(bound.distances):
                found.append(bound.tight(node, names.get(node, ""), reading, rate, confidence))
    return sorted(found, key=lambda each: -each.rate.share)


class _Bound:
    """One side of a limit: the distances of the units, and where it is, if that is the same for all of them."""

    def __init__(self, side: Side, distances: list[float], at: float | None, unit: str) -> None:
        self.side, self.distances, self.at, self.unit = side, distances, at, unit

    @classmethod
    def of(cls, side: Side, seen: Sequence[Seen]) -> _Bound | None:
        pairs = [(each.below, each.low) if side == "low" else (each.above, each.high) for each in seen]
        distances = [distance for distance, _ in pairs if distance is not None]
        places = {at for distance, at in pairs if distance is not None}
        if not distances:
            return None
        return cls(side, distances, places.pop() if len(places) == 1 else None, seen[0].unit)

    @property
    def outside(self) -> int:
        return sum(distance < 0 for distance in self.distances)

    def tight(self, node: str, step: str, reading: str, rate: float, confidence: float) -> Tight:
        beyond = [-distance for distance in self.distances]
        reach = upper_bound(beyond, rate, confidence)
        wider = None if reach.bound is None else _rounded_up(reach.bound, beyond)
        proposed = None
        if wider is not None and self.at is not None:
            proposed = _clean(self.at - wider if self.side == "low" else self.at + wider)
        share = share_of(self.outside, len(beyond), confidence)
        return Tight(
            node, step, reading, self.side, self.unit, share, reach.needed, self.at, proposed, wider, reach.method
        )


def _rounded_up(bound: float, values: Sequence[float]) -> float:
    """To a tenth of the spread: more digits than these say nothing. Never down."""
    spread = stdev(values) if len(values) > 1 else 0.0
    if not spread:
        return bound
    step = 10.0 ** (math.floor(math.log10(spread)) - 1)
    return _clean(math.ceil(bound / step - 1e-9) * step)


def _clean(number: float) -> float:
    """Without what sums of floats leave behind."""
    return float(f"{number:.12g}")
