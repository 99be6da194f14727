"""The chart of the means of subgroups and of their ranges, or of their standard deviations where they are large
(ASTM E2587-16, clauses 7 and 8; ISO 7870-2:2013). Subgroups may differ in size: each has its limits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from benchrig.study.charts.constants import c4, d2, range_limits, sd_limits
from benchrig.study.charts.individuals import Lines
from benchrig.study.charts.rules import RuleSet, Signal, signals
from benchrig.study.describe import centred, numbers_of
from benchrig.study.estimate import Unsuitable

Spread: TypeAlias = Literal["range", "standard deviation"]
# Up to so many values a range tells nearly as much as a standard deviation does.
_SMALL = 10


@dataclass(frozen=True)
class Subgroup:
    """Of two values or more; the lines of its mean, and those of its range or standard deviation."""

    size: int
    mean: float
    spread: float
    mean_lines: Lines
    spread_lines: Lines


@dataclass(frozen=True)
class Subgroups:
    """`signals` are those of the means, `spread_beyond` the subgroups whose spread is beyond its limits; by index."""

    n: int
    spread_is: Spread
    centre: float
    sigma: float
    groups: tuple[Subgroup, ...]
    signals: tuple[Signal, ...]
    spread_beyond: tuple[int, ...]


def subgroups(groups: Sequence[ArrayLike], rules: RuleSet = "nelson") -> Subgroups:
    """Of groups in the order in which they were measured; the centre is the mean of all values."""
    numbers = [numbers_of(group) for group in groups]
    if len(numbers) < 2 or any(group.size < 2 for group in numbers):
        raise Unsuitable("expected 2 subgroups or more with 2 values or more each")
    kind: Spread = "range" if max(group.size for group in numbers) <= _SMALL else "standard deviation"
    expected, limits = (d2, range_limits) if kind == "range" else (c4, sd_limits)
    seen = [_seen(group, kind) for group in numbers]
    sigma = math.fsum(spread / expected(size) for size, _, spread in seen) / len(seen)
    centre = centred(np.concatenate(numbers))[0]
    made = []
    for size, mean, spread in seen:
        reach, middle, (low, high) = 3 * sigma / math.sqrt(size), expected(size) * sigma, limits(size)
        lines = Lines(centre, centre - reach, centre + reach), Lines(middle, low * middle, high * middle)
        made.append(Subgroup(size, mean, spread, *lines))
    return Subgroups(
        sum(size for size, _, _ in seen), kind, centre, sigma, tuple(made), _signals(made, sigma, rules),
        tuple(at for at, g in enumerate(made) if not g.spread_lines.low <= g.spread <= g.spread_lines.high),
    )  # fmt: skip


def _seen(group: np.typing.NDArray[np.float64], kind: Spread) -> tuple[int, float, float]:
    mean, off = centred(group)
    spread = np.ptp(group) if kind == "range" else math.sqrt(np.square(off).sum() / (group.size - 1))
    return group.size, mean, float(spread)


def _signals(groups: Sequence[Subgroup], sigma: float, rules: RuleSet) -> tuple[Signal, ...]:
    if not sigma:
        return ()
    return signals([(each.mean - each.mean_lines.centre) * math.sqrt(each.size) / sigma for each in groups], rules)
