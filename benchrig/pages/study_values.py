"""The values of a gauge study: each unit as every appraiser measured it, and the run behind each value."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from benchrig.gauge.figure import Figure, ReadingFigure
from benchrig.gauge.state import State
from benchrig.html.elements import Child
from benchrig.html.parts import details, figure, row, table
from benchrig.html.plots import BAD, BLUE, plotted
from benchrig.pages import words
from benchrig.pages.links import Links

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Units that are drawn and values that are listed at most, units whose names are level.
MOST_UNITS, MOST_VALUES, _LEVEL = 40, 300, 5


def study_values(made: Figure, state: State, links: Links, place: str) -> Iterator[Child]:
    """A picture of each reading, and a table of all values on demand."""
    for at, each in enumerate(made.readings):
        yield _picture(each, state, f"{place}-{at}")
    yield details("Values, with the run of each", _values(made, state, links))


def _picture(made: ReadingFigure, state: State, place: str) -> ET.Element:
    appraisers = state.design.appraisers
    says = f"{made.reading} of each unit, a point a measurement"
    says += f"; from left to right: {', '.join(appraisers)}." if len(appraisers) > 1 else f", by {appraisers[0]}."
    if (more := len(state.design.units) - MOST_UNITS) > 0:
        says += f" The first {MOST_UNITS} units, without {more} more."
    return figure(plotted(says, place, _drawn(made, state)), says)


def _drawn(made: ReadingFigure, state: State) -> Callable[[Axes], None]:
    units = state.design.units[:MOST_UNITS]
    measured = [each for each in state.in_time if each.cell.unit in units]
    x = [units.index(each.cell.unit) + _beside(each.cell.appraiser, state.design.appraisers) for each in measured]
    y = [each.values[made.reading].number for each in measured]

    def draw(axes: Axes) -> None:
        axes.plot(x, y, color=BLUE, marker="o", markersize=3, linestyle="")
        for at in _limits_in_view(made, y):
            axes.axhline(at, color=BAD, linestyle="--")
        many = len(units) > _LEVEL
        axes.set_xticks(range(len(units)), units, rotation=30 if many else 0, ha="right" if many else "center")
        axes.set_ylabel(made.measure)

    return draw


def _beside(appraiser: str, appraisers: list[str]) -> float:
    """How far from the middle of a unit."""
    return 0.6 / len(appraisers) * (appraisers.index(appraiser) - (len(appraisers) - 1) / 2)


def _limits_in_view(made: ReadingFigure, values: list[float]) -> Iterator[float]:
    """Not those that would leave nothing of the values to be seen."""
    reach = 3 * (max(values) - min(values))
    for at in (made.low, made.high):
        if at is not None and min(values) - reach <= at <= max(values) + reach:
            yield at


def _values(made: Figure, state: State, links: Links) -> ET.Element:
    heads = ("unit", "appraiser", "repeat", *(each.reading for each in made.readings), "run")
    rows = (
        row(each.cell.unit, each.cell.appraiser, each.cell.repeat,
            *(words.limit(each.values[one.reading].number, one.measure) for one in made.readings),
            links.run(each.run_id[:8], str(each.folder.absolute())))
        for each in state.in_time[:MOST_VALUES]
    )  # fmt: skip
    more = f", the first {MOST_VALUES}" if len(state.measured) > MOST_VALUES else ""
    return table(f"Values of the study{more}", heads, rows)
