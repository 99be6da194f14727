"""What a study comes to: of each reading the figures of both methods, or of the short form."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import msgspec

from benchrig.errors import UsageError
from benchrig.gauge.counting import Measured
from benchrig.gauge.design import Cell
from benchrig.gauge.measures import number_in
from benchrig.gauge.size import size_notes
from benchrig.gauge.state import State
from benchrig.gauge.telling import LeftOut, left_out
from benchrig.source.problem import counted, suggest
from benchrig.study.estimate import Unsuitable
from benchrig.study.gauge.anova import Anova, anova
from benchrig.study.gauge.crossed import crossed
from benchrig.study.gauge.ranges import RangeMethod, range_method
from benchrig.study.gauge.repeats import Repeats, repeats

FORMAT = 1
# Measurements that are missing are named up to here.
_NAMED = 10


class ReadingFigure(msgspec.Struct, omit_defaults=True):
    """Of one reading. `tolerance` is the width between its two limits; `repeats` is that of a study of one unit, `anova` and
    `ranges` those of a crossed one."""

    reading: str
    measure: str  # its unit of measure
    low: float | None = None
    high: float | None = None
    tolerance: float | None = None
    repeats: Repeats | None = None
    anova: Anova | None = None
    ranges: RangeMethod | None = None
    notes: list[str] = []


class Figure(msgspec.Struct, omit_defaults=True):
    """Of a study. `n` runs count; those that do not are named."""

    format: int
    study: str
    plan: str
    units: list[str]
    appraisers: list[str]
    repeats: int
    n: int
    first: str  # when the first run that counts began, and the last one
    last: str
    stations: list[str]
    simulated: bool
    readings: list[ReadingFigure]
    notes: list[str] = []
    not_counted: list[LeftOut] = []
    doubled: list[LeftOut] = []


def figure_of(state: State, named: Sequence[str] = (), reference: str = "") -> Figure:
    """Of these readings of the study, of all without a name; `reference` as number_in takes it. UsageError where the study is
    not complete, or mixed."""
    _check(state, named)
    design, runs = state.design, state.in_time
    return Figure(
        format=FORMAT,
        study=design.study,
        plan=design.plan,
        units=design.units,
        appraisers=design.appraisers,
        repeats=design.repeats,
        n=len(runs),
        first=runs[0].started,
        last=runs[-1].started,
        stations=sorted({each.station for each in runs}),
        simulated=runs[0].simulated,
        readings=[_reading(state, name, reference) for name in named or design.readings],
        notes=[*_notes(state)],
        not_counted=left_out(state.not_counted),
        doubled=left_out(state.doubled),
    )


def _check(state: State, named: Sequence[str]) -> None:
    for name in named:
        if name not in state.design.readings:
            raise UsageError(f"the study has no reading '{name}'", advice=suggest(name, state.design.readings))
    if state.is_mixed:
        raise UsageError(
            "the study has measurements of simulated units and of real ones",
            advice="give the folders of one kind alone",
        )
    if missing := state.missing:
        words = "; ".join(cell.words for cell in missing[:_NAMED])
        more = f"; and {len(missing) - _NAMED} more" if len(missing) > _NAMED else ""
        raise UsageError(
            f"{counted(len(missing), 'measurement')} of {len(state.design.order)} missing: {words}{more}",
            advice="run 'benchrig gauge run' on the folder, or give the folders of all stations",
        )


def _notes(state: State) -> Iterator[str]:
    if not state.kept_order:
        yield "the units were not measured in the order that was drawn: a drift may look like a difference of units"
    if not state.design.is_short:  # of a short one its figure tells it
        yield from size_notes(state.design)


def _reading(state: State, name: str, reference: str) -> ReadingFigure:
    measures = {each.values[name].measure for each in state.in_time}
    if len(measures) > 1:
        raise UsageError(f"the reading '{name}' has several units of measure: {', '.join(sorted(measures))}")
    low, high, notes = _limits(name, state.in_time)
    tolerance = high - low if low is not None and high is not None else None
    figure = ReadingFigure(name, measures.pop(), low, high, tolerance, notes=notes)
    try:
        return _with_figures(figure, state, reference)
    except Unsuitable as error:
        raise UsageError(f"the reading '{name}': {error}") from error


def _with_figures(figure: ReadingFigure, state: State, reference: str) -> ReadingFigure:
    design, tolerance = state.design, figure.tolerance
    cells = _cells(state.measured, figure.reading, design.repeats)
    if design.is_short:
        (values,) = cells.values()
        really = number_in(reference, figure.measure) if reference else None
        figure.repeats = repeats(values, tolerance, really)
        return figure
    data = crossed(cells, design.units, design.appraisers, design.repeats)
    figure.anova, figure.ranges = anova(data, tolerance), range_method(data, tolerance)
    return figure


def _cells(measured: Mapping[Cell, Measured], name: str, count: int) -> dict[tuple[str, str], list[float]]:
    pairs = dict.fromkeys((cell.unit, cell.appraiser) for cell in measured)
    return {
        pair: [measured[Cell(*pair, repeat)].values[name].number for repeat in range(1, count + 1)] for pair in pairs
    }


def _limits(name: str, runs: Sequence[Measured]) -> tuple[float | None, float | None, list[str]]:
    """The limits that all runs state, and what there is to say where they give no tolerance."""
    found = list(dict.fromkeys((each.values[name].low, each.values[name].high) for each in runs))
    if len(found) > 1:
        words = "; ".join(_range_words(*each) for each in found[:_NAMED])
        return None, None, [f"the limits differ between the runs ({words}): no figure of the tolerance"]
    low, high = found[0]
    if low is None or high is None:
        what = "no limit" if low is high else "one bound alone"
        return low, high, [f"the reading has {what}: no figure of the tolerance"]
    return low, high, []


def _range_words(low: float | None, high: float | None) -> str:
    ends = ["no lower bound" if low is None else f"{low:g}", "no upper bound" if high is None else f"{high:g}"]
    return " to ".join(ends)
