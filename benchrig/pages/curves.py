"""What is drawn: histograms, control charts, shares over time, means over firmware revisions."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from benchrig.figures.chart import ChartFigure
from benchrig.figures.drift import Check, DriftOfSlot
from benchrig.figures.grouping import Group
from benchrig.figures.revisions import Revision
from benchrig.html.plots import BAD, BLUE, DIM, WARN
from benchrig.pages.reading import DRAWN, Limits, Reading

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Draw = Callable[["Axes"], None]
# A limit that is further away than so many spans of the values would leave nothing of them to be seen.
_FAR = 3.0


def histogram(reading: Reading) -> Draw:
    def draw(axes: Axes) -> None:
        axes.stairs(reading.counts, reading.edges, fill=True, color=BLUE)
        for at in ends_in_view(reading):
            axes.axvline(at, color=BAD, linestyle="--")
        if min(*reading.edges, *ends_in_view(reading)) >= 0:  # no negative time, where none was measured
            axes.set_xlim(left=max(0.0, axes.get_xlim()[0]))
        axes.set_xlabel(reading.measure)
        axes.set_ylabel("values")

    return draw


def values_in_order(reading: Reading, *, lines: bool = True) -> Draw:
    """The last values and the limits that they were held against; with the lines of their control chart, and its signals."""
    from matplotlib.ticker import MaxNLocator

    def draw(axes: Axes) -> None:
        last, count = reading.told.n, len(reading.tail)
        axes.plot(
            range(last - count + 1, last + 1), reading.tail, color=BLUE, marker="o", markersize=2.5, linewidth=0.8
        )
        if lines and reading.chart:
            _control(axes, reading.chart, last)
        for at in ends_in_view(reading):
            axes.axhline(at, color=BAD, linestyle="--")
        axes.xaxis.set_major_locator(MaxNLocator("auto", steps=[1, 2, 5, 10], integer=True))
        axes.set_xlabel(f"value, in the order of time: {_days(reading.since, reading.last.at)}")
        axes.set_ylabel(reading.measure)

    return draw


def checks(slot: DriftOfSlot, measure: str) -> Draw:
    """The last checks with a golden unit in one slot, over time, with their limits as far as these are near; failed ones marked."""
    shown = slot.checks[-DRAWN:]
    values = [each.value for each in shown]

    def draw(axes: Axes) -> None:
        axes.plot(_times(shown), values, color=BLUE, marker="o", markersize=2.5, linewidth=0.8)
        marked = [each for each in shown if not each.passed or each.rules]
        axes.plot(
            _times(marked), [each.value for each in marked], color=BAD, marker="s", markersize=5,
            linestyle="", fillstyle="none",
        )  # fmt: skip
        for at in _near(values, (shown[-1].low, shown[-1].high)):
            axes.axhline(at, color=BAD, linestyle="--")
        axes.set_xlabel(f"check: {_days(shown[0].started, shown[-1].started)}")
        axes.set_ylabel(measure)

    return draw


def _times(checks: Sequence[Check]) -> NDArray[np.datetime64]:
    return np.array([each.started.replace(tzinfo=None) for each in checks], "datetime64[us]")


def _near(values: Sequence[float], limits: Sequence[float | None]) -> Iterator[float]:
    low, high = min(values), max(values)
    reach = _FAR * ((high - low) or abs(high) or 1.0)
    yield from (each for each in limits if each is not None and low - reach <= each <= high + reach)


def _days(since: datetime, until: datetime) -> str:
    """With the time of day where it is one day."""
    days = [each.strftime("%Y-%m-%d") for each in (since, until)]
    if days[0] == days[1]:
        return f"{days[0]}, {since:%H:%M} to {until:%H:%M} UTC"
    return f"{days[0]} to {days[1]}"


def _control(axes: Axes, chart: ChartFigure, last: int) -> None:
    if chart.lines and chart.sigma:
        axes.axhline(chart.lines.centre, color=DIM)
        for at in (chart.lines.low, chart.lines.high):
            axes.axhline(at, color=WARN, linestyle=":")
    shown = enumerate(chart.points[-DRAWN:], last - min(DRAWN, len(chart.points)) + 1)
    marked = [(at, each.value) for at, each in shown if each.rules]
    x, y = [at for at, _ in marked], [value for _, value in marked]
    axes.plot(x, y, color=BAD, marker="s", markersize=5, linestyle="", fillstyle="none")


def ends_in_view(reading: Reading) -> list[float]:
    least, most = reading.told.minimum, reading.told.maximum
    reach = _FAR * (most - least)
    return [at for at in ends(reading.limits) if not reach or least - reach <= at <= most + reach]


def ends(limits: Sequence[Limits]) -> Iterator[float]:
    yield from dict.fromkeys(end for each in limits for end in (each.low, each.high) if end is not None)


def shares(groups: Sequence[Group]) -> Draw:
    """First pass of each day or hour with its interval."""

    def draw(axes: Axes) -> None:
        told = [group for group in groups if group.first_pass.share is not None]
        x = [_time(group.name) for group in told]
        y = [100 * (group.first_pass.share or 0.0) for group in told]
        low = [100 * (group.first_pass.wilson or (0.0, 0.0))[0] for group in told]
        high = [100 * (group.first_pass.wilson or (0.0, 0.0))[1] for group in told]
        axes.vlines(x, low, high, color=DIM)  # type: ignore[arg-type]
        axes.plot(x, y, color=BLUE, marker="o", markersize=4)  # type: ignore[arg-type]
        axes.set_ylim(-3, 103)
        axes.set_ylabel("first pass, %")

    return draw


def _time(name: str) -> datetime:
    return datetime.fromisoformat(name).replace(tzinfo=UTC)


def means(revisions: Sequence[Revision], reading: Reading) -> Draw:
    """The mean with each firmware and its interval."""

    def draw(axes: Axes) -> None:
        x = range(len(revisions))
        for at, each in enumerate(revisions):
            if each.mean.low is not None and each.mean.high is not None:
                axes.vlines(at, each.mean.low, each.mean.high, color=DIM)
        axes.plot(x, [each.mean.value for each in revisions], color=BLUE, marker="o", markersize=4)
        axes.set_xticks(x, [each.firmware or "?" for each in revisions])
        axes.set_ylabel(reading.measure)

    return draw
