"""What a gauge study came to, in the terminal: both methods, both models, each figure with its interval."""

from __future__ import annotations

from benchrig.cli.gauge_text import GaugePage
from benchrig.gauge.figure import Figure, ReadingFigure
from benchrig.gauge.measures import apart
from benchrig.pages.words import share_of_whole
from benchrig.source.problem import counted
from benchrig.study.estimate import Estimate
from benchrig.study.gauge.anova import POOLING, Anova
from benchrig.study.gauge.components import Component, Components
from benchrig.study.gauge.ranges import RangeMethod, RangePart
from benchrig.study.gauge.rating import rated, rated_ratio
from benchrig.study.gauge.repeats import Repeats
from benchrig.text.tables import print_table

_COMPONENTS = ("repeatability", "reproducibility", "appraiser", "interaction", "gauge", "unit", "total")
_RANGE_PARTS = ("repeatability", "reproducibility", "gauge", "unit", "total")


class ResultPage(GaugePage):
    def show(self, made: Figure, plan: str) -> None:
        """`plan` is its path as it is seen from here."""
        self._line(f"plan     {plan}")
        self._line(f"study    {_study_words(made)}")
        self._line(f"runs     {made.first} to {made.last}; {', '.join(made.stations)}")
        self.simulated(made.simulated)
        for reading in made.readings:
            self._reading(reading)
        self._console.print()
        for note in made.notes:
            self._line(f"note: {note}", style="yellow")
        self._left_out(made.not_counted, made.doubled)

    def _reading(self, reading: ReadingFigure) -> None:
        self._console.print()
        tolerance = "no tolerance"
        if reading.tolerance is not None:
            limits = f"{_number(reading.low)} to {_number(reading.high)} {reading.measure}".rstrip()
            tolerance = f"tolerance {_number(reading.tolerance)} {apart(reading.measure)}".rstrip() + f" ({limits})"
        self._line(f"{reading.reading}: {tolerance}", style="bold")
        if reading.repeats is not None:
            self._repeats(reading.repeats, reading.measure)
        if reading.anova is not None:
            self._anova(reading.anova, apart(reading.measure))
        if reading.ranges is not None:
            self._ranges(reading.ranges, apart(reading.measure))
        for note in reading.notes:
            self._line(f"note: {note}", style="yellow")

    def _repeats(self, made: Repeats, measure: str) -> None:
        """What it comes to first, then what it is made of."""
        if made.of_tolerance is not None:
            self._line(f"6 sd are {share_words(made.of_tolerance)} of the tolerance", style="bold")
        for name, ratio in (("Cg", made.cg), ("Cgk", made.cgk)):
            if ratio is not None:
                self._line(f"{name} {interval_words(ratio)}: {rated_ratio(ratio)}", style="bold")
        of = (("mean", made.mean, measure), ("sd", made.sd, apart(measure)), ("bias", made.bias, apart(measure)))
        rows = [((name, f"{interval_words(each)} {unit}".rstrip()), "") for name, each, unit in of if each is not None]
        print_table(self._console, ("figure", f"value ({_confidence(made.confidence)})"), rows)
        for note in made.notes:
            self._line(f"note: {note}", style="yellow")

    def _anova(self, made: Anova, unit: str) -> None:
        """What it comes to; then the model that counts, then the other one."""
        for share, of in (
            (made.chosen.gauge.of_total, "total variation"),
            (made.chosen.gauge.of_tolerance, "tolerance"),
        ):
            if share is not None:
                words = f"gauge: {share_words(share)} of the {of}"
                self._line(f"{words}: {rated(share)} (AIAG MSA, 4th edition)", style="bold")
        self._components(made, made.chosen, unit)
        if made.pooled is not None:
            self._components(made, made.kept if made.pools else made.pooled, unit, style="dim")

    def _components(self, made: Anova, model: Components, unit: str, style: str = "") -> None:
        p = next((row.p for row in made.table if row.source == "interaction"), None)
        why = "" if p is None else f" (its p is {p:.3g}, pooled above {POOLING:g})"
        self._line(f"by analysis of variance, {model.model}{why}, {_confidence(made.confidence)}", style=style)
        parts = [(name, getattr(model, name.replace(" ", "_"))) for name in _COMPONENTS]
        rows = [((name, *_component_cells(each)), style) for name, each in parts if each is not None]
        cells = _cells(unit)
        print_table(self._console, ("part", *cells), rows, right=cells)
        self._line(f"ndc {_whole(model.ndc)}", style=style)
        for note in model.notes:
            self._line(f"note: {note}", style="yellow")

    def _ranges(self, made: RangeMethod, unit: str) -> None:
        self._line("by averages and ranges")
        parts = [(name, getattr(made, name)) for name in _RANGE_PARTS]
        rows = [((name, *_range_cells(each)), "") for name, each in parts if each is not None]
        cells = _cells(unit)
        print_table(self._console, ("part", *cells), rows, right=cells)
        self._line(f"ndc {_whole(made.ndc)}")


def _cells(unit: str) -> tuple[str, str, str]:
    return (f"sd, {unit}" if unit else "sd", "of total", "of tolerance")


def _study_words(made: Figure) -> str:
    counts = [counted(len(made.units), "unit"), counted(len(made.appraisers), "appraiser")]
    return f"{', '.join(counts)}, {counted(made.repeats, 'repeat')}: {counted(made.n, 'run')}"


def _component_cells(part: Component) -> tuple[str, str, str]:
    return interval_words(part.sd), share_words(part.of_total), share_words(part.of_tolerance)


def _range_cells(part: RangePart) -> tuple[str, str, str]:
    shares = (None if each is None else Estimate(each) for each in (part.of_total, part.of_tolerance))
    return _number(part.sd), *map(share_words, shares)  # type: ignore[return-value]


def interval_words(estimate: Estimate) -> str:
    """'0.302 (0.223 to 1.46)'."""
    if estimate.low is None or estimate.high is None:
        return _number(estimate.value)
    return f"{_number(estimate.value)} ({_number(estimate.low)} to {_number(estimate.high)})"


def share_words(share: Estimate | None) -> str:
    return share_of_whole(share, "–")


def _confidence(share: float) -> str:
    return f"intervals of {100 * share:g} %"


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.5g}"


def _whole(value: int | None) -> str:
    return "not defined" if value is None else str(value)
