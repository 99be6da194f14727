"""One reading over many runs, in few numbers: what a page shows of it, whatever their number is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from benchrig.errors import UsageError
from benchrig.figures.capability import CapabilityFigure, capability_figure, moment
from benchrig.figures.chart import ChartFigure, chart_figure
from benchrig.figures.revisions import Revision, revisions_of
from benchrig.history.questions.values import Floats, Values
from benchrig.study.describe import Description, describe

# Of the points of a chart the last ones are drawn.
DRAWN = 300
_MOST_BARS = 50


@dataclass(frozen=True)
class Limits:
    """What values were held against, before a guard band drew it in: what the unit must be; None where there is no such end."""

    low: float | None
    high: float | None


@dataclass(frozen=True)
class Example:
    """A run that a figure is about."""

    run_id: str
    folder: str
    unit: str
    at: datetime
    value: float


@dataclass(frozen=True)
class Reading:
    """`counts` are the numbers of values between `edges`, `tail` the last values. `failures` are the last ones that failed."""

    plan: str
    label: str
    measure: str
    simulated: bool
    failed: int
    odd: int  # values that are not finite
    not_numbers: int
    limits: tuple[Limits, ...]  # in the order of time
    told: Description
    counts: NDArray[np.int64]
    edges: Floats
    tail: Floats
    since: datetime  # of the first of these
    capability: CapabilityFigure
    chart: ChartFigure | None
    no_chart: str  # why there is none
    least: Example
    most: Example
    last: Example
    failures: tuple[Example, ...]
    revisions: tuple[Revision, ...]

    @property
    def ppk(self) -> float | None:
        """The least one against the limits that its values were held against; None where it has none."""
        found = [each.capability.overall.worst for each in self.capability.parts if each.capability]
        return min((each.value for each in found if each), default=None)


def reading_of(values: Values) -> Reading | None:
    """None for a reading without any finite value."""
    finite = np.flatnonzero(np.isfinite(values.value))
    if not len(finite):
        return None
    numbers = values.value[finite]
    capability = capability_figure(values)
    limits = tuple(Limits(each.low, each.high) for each in capability.parts)
    counts, edges = _counted(numbers, limits)
    at = _Examples(values, finite)
    chart, no_chart = _chart(values)
    return Reading(
        values.channel.plan, values.channel.label, values.channel.measure, values.simulated,
        int((~values.passed).sum()), len(values) - len(finite), values.not_numbers, limits, describe(numbers),
        counts, edges, numbers[-DRAWN:], at(max(0, len(numbers) - DRAWN)).at, capability, chart, no_chart,
        at(int(np.argmin(numbers))), at(int(np.argmax(numbers))), at(len(numbers) - 1),
        tuple(at(int(index)) for index in np.flatnonzero(~values.passed[finite])[:-6:-1]), tuple(revisions_of(values)),
    )  # fmt: skip


def _chart(values: Values) -> tuple[ChartFigure | None, str]:
    try:
        return chart_figure(values), ""
    except UsageError as error:
        return None, error.message


class _Examples:
    """Runs by the index of their value among the finite ones."""

    def __init__(self, values: Values, finite: NDArray[np.intp]) -> None:
        self._values, self._finite = values, finite

    def __call__(self, index: int) -> Example:
        at = int(self._finite[index])
        run, folder, unit = (
            str(*self._values.of_run(column, self._finite[[index]])) for column in ("run_id", "folder", "unit")
        )
        return Example(run, folder, unit, moment(self._values.started[at]), float(self._values.value[at]))


def _counted(numbers: Floats, limits: Sequence[Limits]) -> tuple[NDArray[np.int64], Floats]:
    """Bars of equal width; where there are few values that differ, one for each of them."""
    distinct = np.unique(numbers)
    if len(distinct) == 1:
        return _histogram(numbers, _one_bar(float(distinct[0]), limits))
    if 1 < len(distinct) <= _MOST_BARS // 2:
        half = float(np.diff(distinct).min()) / 2
        wide = round((float(distinct[-1]) - float(distinct[0])) / (2 * half)) + 1
        if wide <= _MOST_BARS:
            return _histogram(numbers, np.linspace(distinct[0] - half, distinct[-1] + half, wide + 1))
    return _histogram(numbers, min(_MOST_BARS, max(5, round(len(numbers) ** 0.5))))


def _one_bar(value: float, limits: Sequence[Limits]) -> Floats:
    """Around a value that is always the same, wide enough to be seen between the limits, and on no other side of 0."""
    ends = [value, *(end for each in limits for end in (each.low, each.high) if end is not None)]
    half = (max(ends) - min(ends)) / 50 or abs(value) / 20 or 0.5
    low, high = value - half, value + half
    return np.array([max(low, 0.0) if value >= 0 else low, min(high, 0.0) if value < 0 else high])


def _histogram(numbers: Floats, bins: int | Floats) -> tuple[NDArray[np.int64], Floats]:
    counts, edges = np.histogram(numbers, bins)
    return counts.astype(np.int64), edges
