"""Drift of a unit that checks the station: what its readings were over time, slot by slot. The unit stays the same, so what
moves is the station, or the unit has aged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

import msgspec
import numpy as np

from benchrig.errors import UsageError
from benchrig.figures.capability import moment, number
from benchrig.figures.chart import MOST, RuleFired
from benchrig.history.opening import History
from benchrig.history.questions.channels import missing
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.values import Places, Values, all_values
from benchrig.study.change import mean_of
from benchrig.study.charts.individuals import Individuals, Lines, individuals
from benchrig.study.estimate import Estimate, Unsuitable
from benchrig.study.trend import trend_of

_DAY = np.timedelta64(1, "D") / np.timedelta64(1, "us")


class Check(msgspec.Struct, frozen=True, omit_defaults=True):
    """A reading of one check, the limits that it was held against, and the run rules whose pattern it completes."""

    value: float
    started: datetime
    run_id: str
    folder: str
    low: float | None
    high: float | None
    passed: bool
    rules: list[str] = []


class DriftOfSlot(msgspec.Struct, frozen=True):
    """The checks with one unit in one slot. `trend` is a change a day; where there is none, or no chart, it is said why."""

    unit: str
    slot: str
    n: int
    failed: int
    mean: Estimate
    checks: list[Check]  # at most the last 1000
    trend: Estimate | None = None
    no_trend: str = ""
    lines: Lines | None = None
    no_lines: str = ""
    fired: list[RuleFired] = []
    left_out: int = 0  # checks before those

    @property
    def moves(self) -> bool:
        """Whether no change at all is outside the interval of the trend."""
        trend = self.trend
        return (
            trend is not None and trend.low is not None and trend.high is not None and not trend.low <= 0 <= trend.high
        )


class DriftFigure(msgspec.Struct, frozen=True):
    """A reading of a golden unit, as a plan takes it."""

    reference: str
    plan: str
    reading: str
    measure: str
    slots: list[DriftOfSlot]


def drift_of(
    history: History, filters: Filters, readings: Sequence[str] = (), *, none: bool = False
) -> list[DriftFigure]:
    """By golden unit, plan and reading; without `readings` all that are numbers. The filters select the checks of a station.
    UsageError where there are none, unless `none` is allowed, or none with such a reading."""
    every = [*all_values(history, msgspec.structs.replace(filters, purpose=("golden",)))]
    if not every and not none:
        raise UsageError(
            f"the history has no check with a golden unit{_of(filters)}",
            advice="checks that the station, or its operator, broke off are none; see benchrig history runs --purpose golden",
        )
    known = [each.channel for each in every]
    for label in readings:
        if all(each.label != label for each in known):
            raise missing(label, known)
    return [figure for each in every if not readings or each.channel.label in readings for figure in _figures(each)]


def _of(filters: Filters) -> str:
    said = ["simulated runs"] * filters.simulated + [filters.described] * bool(filters.described)
    return f" ({'; '.join(said)})" if said else ""


def _figures(values: Values) -> Iterator[DriftFigure]:
    """Of each golden unit; not of values without an end, which have no mean."""
    finite = np.isfinite(values.value)
    channel, (names, which) = values.channel, values.kinds_of("reference")
    for name in sorted(names):
        places = np.flatnonzero(finite & (which == names.index(name)))
        if places.size:
            slots = [*_by_slot(values, places)]
            yield DriftFigure(name, channel.plan, channel.label, channel.measure, slots)


def _by_slot(values: Values, places: Places) -> Iterator[DriftOfSlot]:
    """Another unit with the same name is another one, and each slot has its own fixture and its own radio."""
    of = [*zip(values.of_run("unit", places).tolist(), values.of_run("slot", places).tolist(), strict=True)]
    for unit, slot in sorted({*of}):
        yield _drift(values, places[[each == (unit, slot) for each in of]], unit, slot)


def _drift(values: Values, places: Places, unit: str, slot: str) -> DriftOfSlot:
    found = values.value[places]
    chart, no_lines = _chart(found)
    trend, no_trend = _trend(values, places)
    fired = [
        RuleFired(each.rule, each.says, len(each.at), values.of_run("run_id", places[[*each.at[-20:]]]).tolist())
        for each in (chart.signals if chart else ())
    ]
    return DriftOfSlot(
        unit, slot, len(places), int((~values.passed[places]).sum()), mean_of(found),
        [*_checks(values, places, chart)], trend, no_trend, chart.values if chart else None, no_lines, fired,
        max(0, len(places) - MOST),
    )  # fmt: skip


def _chart(found: np.typing.NDArray[np.float64]) -> tuple[Individuals | None, str]:
    try:
        return individuals(found), ""
    except Unsuitable as error:
        return None, str(error)


def _trend(values: Values, places: Places) -> tuple[Estimate | None, str]:
    """A day is the unit of time."""
    days = values.started[places].astype("datetime64[us]").astype(np.int64) / _DAY
    try:
        return trend_of(days - days[0], values.value[places]), ""
    except Unsuitable as error:
        return None, str(error)


def _checks(values: Values, places: Places, chart: Individuals | None) -> Iterator[Check]:
    rules: dict[int, list[str]] = {}
    for signal in chart.signals if chart else ():
        for at in signal.at:
            rules.setdefault(at, []).append(signal.rule)
    first = max(0, len(places) - MOST)
    shown = places[first:]
    runs, folders = (values.of_run(column, shown).tolist() for column in ("run_id", "folder"))
    for at, place, run, folder in zip(range(first, len(places)), shown, runs, folders, strict=True):
        ends = number(values.low[place]), number(values.high[place])
        passed = bool(values.passed[place])
        yield Check(
            float(values.value[place]), moment(values.started[place]), run, folder, *ends, passed, rules.get(at, [])
        )
