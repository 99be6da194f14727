"""Capability of a reading over the runs of a history. Values that were held against other limits are a figure apart."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import msgspec
import numpy as np
from numpy.typing import NDArray

from benchrig.errors import UsageError
from benchrig.figures.head import OfReading, head_of
from benchrig.figures.risk import RiskFigure, risk_figure
from benchrig.figures.subgroups import subgroups_of
from benchrig.history.opening import History
from benchrig.history.questions.filters import Filters
from benchrig.history.questions.values import Of, Values, values_of
from benchrig.study.capability.capability import Capability, capability
from benchrig.study.capability.doubts import Doubt, apart, repeated
from benchrig.study.estimate import Unsuitable
from benchrig.text.escape import plain

CONFIDENCE = 0.95
# Groups of runs that should be alike, and their column.
_ALIKE = {"stations": "station", "fixtures": "fixture", "firmware revisions": "firmware", "slots": "slot"}


class AgainstLimits(msgspec.Struct, frozen=True, omit_defaults=True):
    """The values that were held against the same limits: those of the plan, as they were before a guard band. Either
    `capability` or `refused` is there, which says why it is not."""

    low: float | None
    high: float | None
    n: int
    runs: int
    units: int
    since: datetime
    until: datetime
    first_run: str
    last_run: str
    last_folder: str
    capability: Capability | None = None
    refused: str = ""
    doubts: list[Doubt] = []
    risk: RiskFigure | None = None
    no_risk: str = ""


class CapabilityFigure(OfReading, frozen=True, omit_defaults=True):
    """The deviation within is that of the subgroups, without these of neighbours; `parts` are in the order of their first
    values."""

    n: int
    not_numbers: int
    without: int  # whole runs of the plan that have no value, as they may have failed before
    apart: int
    versions: int  # of the text of the plan
    parts: list[AgainstLimits]


def capability_of(history: History, reading: str, filters: Filters, of: Of = "value", subgroup: str = "") -> CapabilityFigure:  # fmt: skip
    """UsageError for a reading that no run has, and one that is not a number."""
    return capability_figure(numbers_of(history, reading, filters, of), of, subgroup)


def numbers_of(history: History, reading: str, filters: Filters, of: Of = "value") -> Values:
    """The values of a reading, of which there is one at least."""
    values = values_of(history, reading, filters, of)
    if not len(values):
        raise UsageError(
            f"'{plain(reading)}' is text, or a stream: expected a number, found {values.not_numbers} readings without one",
            advice="write --of mean for a stream; text has no spread",
        )
    return values


def capability_figure(
    values: Values, of: Of = "value", subgroup: str = "", uncertainty: float | None = None
) -> CapabilityFigure:
    """With the expanded uncertainty of the reading (k 2), in its unit of measure, the risks of the test too."""
    parts = [
        _part(values, places, subgroup, uncertainty) for places in _by_limits(values.stated_low, values.stated_high)
    ]
    return CapabilityFigure(
        *head_of(values, of, subgroup), len(values), values.not_numbers, values.without, values.apart, len({*values.kinds_of("plan_hash")[1].tolist()}), parts,
    )  # fmt: skip


def _by_limits(low: NDArray[np.float64], high: NDArray[np.float64]) -> list[NDArray[np.intp]]:
    """The places of values with equal limits, in the order of the first of each."""
    _, lows = np.unique(low, return_inverse=True)
    _, highs = np.unique(high, return_inverse=True)
    _, first, which = np.unique(lows * (low.size + 1) + highs, return_index=True, return_inverse=True)
    return [np.flatnonzero(which == kind) for kind in np.argsort(first)]


def _part(values: Values, places: NDArray[np.intp], subgroup: str, uncertainty: float | None) -> AgainstLimits:
    ends = number(values.stated_low[places[0]]), number(values.stated_high[places[0]])
    found, refused = _capability(values, places, ends, subgroup)
    outer = places[[0, -1]]
    (first, last), folders = values.of_run("run_id", outer), values.of_run("folder", outer)
    units = {each for each in values.of_run("unit", places).tolist() if each}
    return AgainstLimits(
        *ends, len(places), values.runs_among(places), len(units), moment(values.started[places[0]]),
        moment(values.started[places[-1]]), first, last, folders[1], found, refused,
        [*found.doubts, *_of_the_runs(values, places)] if found else [], *_risk(values, places, ends, found, uncertainty),
    )  # fmt: skip


def _capability(values: Values, places: NDArray[np.intp], ends: tuple[float | None, float | None],
                subgroup: str) -> tuple[Capability | None, str]:  # fmt: skip
    numbers = values.value[places]
    try:
        groups = _groups(values, places, subgroup) if subgroup else None
        return capability(numbers, *ends, groups, CONFIDENCE, values.failed_as_stated[places]), ""
    except Unsuitable as error:
        return None, str(error)


def _risk(values: Values, places: NDArray[np.intp], ends: tuple[float | None, float | None], found: Capability | None,
          uncertainty: float | None) -> tuple[RiskFigure | None, str]:  # fmt: skip
    """Under the guard band of the last value."""
    if uncertainty is None or found is None:
        return None, ""
    last = places[-1]
    bands = [
        off for off in (values.low[last] - (ends[0] or 0), (ends[1] or 0) - values.high[last]) if not np.isnan(off)
    ]
    try:
        return risk_figure(found, uncertainty, max(0.0, *map(float, bands))), ""
    except Unsuitable as error:
        return None, str(error)


def _groups(values: Values, places: NDArray[np.intp], subgroup: str) -> list[NDArray[np.float64]]:
    kept = np.zeros(len(values), dtype=np.bool_)
    kept[places] = True
    inside = (group.places[kept[group.places]] for group in subgroups_of(values, subgroup))
    return [values.value[group] for group in inside if group.size]


def _of_the_runs(values: Values, places: NDArray[np.intp]) -> Iterator[Doubt]:
    yield from repeated(values.of_run("unit", places).tolist())
    for what, column in _ALIKE.items():
        yield from apart(values.value[places], values.kinds_of(column)[1][places], what)


def number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def moment(value: np.datetime64) -> datetime:
    made: datetime = value.astype("datetime64[us]").item()
    return made.replace(tzinfo=UTC)
