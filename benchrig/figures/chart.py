"""Control chart of a reading over the runs of a history: whether the process, and the station, stay what they were."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Literal, TypeAlias

import msgspec
import numpy as np
from numpy.typing import NDArray

from benchrig.errors import UsageError
from benchrig.figures.capability import moment, number, numbers_of
from benchrig.figures.head import OfReading, head_of
from benchrig.figures.subgroups import subgroups_of
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.values import Of, Values
from benchrig.study.charts.individuals import Lines, individuals
from benchrig.study.charts.rules import RuleSet, Signal
from benchrig.study.charts.subgroups import subgroups
from benchrig.study.estimate import Unsuitable

Spread: TypeAlias = Literal["moving range", "range", "standard deviation"]
# So many points are listed at most: the last ones.
MOST = 1000
# And so many places of one rule.
_PLACES = 20


class Point(msgspec.Struct, frozen=True, omit_defaults=True):
    """A value, or the mean of a subgroup, of which the run is the last one. `spread` is the range from the value before,
    or the spread of the subgroup; `rules` are those whose pattern the point completes. Subgroups have lines of their size."""

    value: float
    started: datetime
    run_id: str
    folder: str
    unit: str
    rules: list[str] = []
    spread: float | None = None
    spread_beyond: bool = False
    name: str = ""
    size: int = 1
    lines: Lines | None = None
    spread_lines: Lines | None = None


class RuleFired(msgspec.Struct, frozen=True):
    """A rule, how often it fired, and the runs of the last times."""

    rule: str
    says: str
    count: int
    runs: list[str]


class ChartFigure(OfReading, frozen=True, omit_defaults=True):
    """Of single values, with one set of lines, or of subgroups. Limits are those of the plan for the last value: a process
    in control may be beyond them, and one within them out of control."""

    rules: RuleSet
    n: int
    sigma: float
    centre: float
    low_limit: float | None
    high_limit: float | None
    spread: Spread
    spread_beyond: int
    fired: list[RuleFired]
    points: list[Point]
    lines: Lines | None = None
    spread_lines: Lines | None = None
    left_out: int = 0  # points before those
    too_small: int = 0  # subgroups of one value, which are not in the chart


def chart_of(history: History, reading: str, filters: Filters, of: Of = "value", subgroup: str = "",
             rules: RuleSet = "nelson") -> ChartFigure:  # fmt: skip
    """UsageError for a reading that no run has, one that is not a number, and for too few values."""
    return chart_figure(numbers_of(history, reading, filters, of), of, subgroup, rules)


def chart_figure(values: Values, of: Of = "value", subgroup: str = "", rules: RuleSet = "nelson") -> ChartFigure:
    try:
        return _grouped(values, of, subgroup, rules) if subgroup else _single(values, of, rules)
    except Unsuitable as error:
        raise UsageError(f"no control chart of '{values.channel.label}': {error}") from error


def _single(values: Values, of: Of, rules: RuleSet) -> ChartFigure:
    found = individuals(values.value, rules)
    places = np.arange(len(values))
    steps = np.abs(np.diff(values.value, prepend=values.value[:1]))
    beyond, points = {*found.moving_beyond}, []
    for at, point in _listed(values, places, found.signals):
        spread = float(steps[at]) if at else None
        points.append(msgspec.structs.replace(point, spread=spread, spread_beyond=at in beyond))
    return _figure(
        values, of, "", rules, found.n, found.sigma, found.values.centre, "moving range", len(beyond), found.signals,
        places, points, lines=found.values, spread_lines=found.moving,
    )  # fmt: skip


def _grouped(values: Values, of: Of, subgroup: str, rules: RuleSet) -> ChartFigure:
    every = subgroups_of(values, subgroup)
    kept = [each for each in every if each.places.size > 1]
    found = subgroups([values.value[each.places] for each in kept], rules)
    places = np.array([each.places[-1] for each in kept])
    beyond, points = {*found.spread_beyond}, []
    for at, point in _listed(values, places, found.signals):
        group = found.groups[at]
        points.append(msgspec.structs.replace(
            point, value=group.mean, spread=group.spread, spread_beyond=at in beyond, name=kept[at].name,
            size=group.size, lines=group.mean_lines, spread_lines=group.spread_lines,
        ))  # fmt: skip
    return _figure(
        values, of, subgroup, rules, found.n, found.sigma, found.centre, found.spread_is, len(beyond), found.signals,
        places, points, too_small=len(every) - len(kept),
    )  # fmt: skip


def _figure(
    values: Values, of: Of, subgroup: str, rules: RuleSet, n: int, sigma: float, centre: float, spread: Spread,
    beyond: int, signals: Sequence[Signal], places: NDArray[np.intp], points: list[Point], *,
    lines: Lines | None = None, spread_lines: Lines | None = None, too_small: int = 0,
) -> ChartFigure:  # fmt: skip
    fired = [
        RuleFired(each.rule, each.says, len(each.at), values.of_run("run_id", places[[*each.at[-_PLACES:]]]).tolist())
        for each in signals
    ]
    return ChartFigure(
        *head_of(values, of, subgroup), rules, n, sigma, centre, number(values.stated_low[-1]), number(values.stated_high[-1]), spread,
        beyond, fired, points, lines, spread_lines, places.size - len(points), too_small,
    )  # fmt: skip


def _listed(values: Values, places: NDArray[np.intp], signals: Sequence[Signal]) -> Iterator[tuple[int, Point]]:
    """The last points with their index, each the value at its place."""
    rules: dict[int, list[str]] = {}
    for signal in signals:
        for at in signal.at:
            rules.setdefault(at, []).append(signal.rule)
    first = max(0, places.size - MOST)
    shown = places[first:]
    texts = [values.of_run(column, shown).tolist() for column in ("run_id", "folder", "unit")]
    for at, place, run, folder, unit in zip(range(first, places.size), shown, *texts, strict=True):
        yield at, Point(float(values.value[place]), moment(values.started[place]), run, folder, unit, rules.get(at, []))
