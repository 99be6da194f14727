"""Capability and control chart of a reading in the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.cli.text_page import TextPage
from benchrig.history.moments import moment_text
from benchrig.history.questions.words import LEFT_OUT
from benchrig.report.explain import SIMULATED
from benchrig.source.problem import counted
from benchrig.text.escape import plain
from benchrig.text.tables import print_table

if TYPE_CHECKING:
    from benchrig.figures.capability import AgainstLimits, CapabilityFigure
    from benchrig.figures.chart import ChartFigure
    from benchrig.figures.risk import RiskFigure
    from benchrig.study.capability.capability import Capability
    from benchrig.study.capability.indices import Indices
    from benchrig.study.capability.percentiles import Percentiles
    from benchrig.study.estimate import Estimate

_CELL = 60
# So many runs of a rule are named.
_RUNS = 3
# A part in a thousand million: no data say anything of the tails beyond.
_LEAST = 1e-9


class CapabilityPage(TextPage):
    longest = 500

    def show(self, figure: CapabilityFigure, chart: ChartFigure | str) -> None:
        self._banner(f"SIMULATED: {SIMULATED}" * figure.simulated)
        self._line(f"CAPABILITY  {plain(figure.reading, _CELL)}, plan {plain(figure.plan, _CELL)}", "bold")
        if (extent := _extent(figure)) != counted(figure.n, "value") or len(figure.parts) > 1:
            self._line(extent)  # else it is that of the only part
        if figure.without:
            runs = counted(figure.without, "run")
            self._line(
                f"{runs} of the plan without a value: units that failed before are not in these numbers", "yellow"
            )
        if figure.versions > 1:
            self._line(
                f"{figure.versions} versions of the plan are in these numbers: --revision, --plan-hash", "yellow"
            )
        if len(figure.parts) > 1:
            self._line(f"{len(figure.parts)} pairs of limits are in these runs: a figure for each", "yellow")
        for part in figure.parts:
            self._part(part, figure.measure)
        self._console.print()
        if isinstance(chart, str):
            self._line(chart, "yellow")
        else:
            self._chart(chart, len(figure.parts))

    def _part(self, part: AgainstLimits, measure: str) -> None:
        self._console.print()
        self._line(f"LIMITS  {limits_text(part, measure)}", "bold")
        when = f"{moment_text(part.since)} to {moment_text(part.until)} UTC"
        self._line(
            f"{counted(part.n, 'value')} of {counted(part.units, 'unit')} in {counted(part.runs, 'run')}, {when}"
        )
        if part.capability is None:
            self._line(f"no capability: {part.refused}", "yellow")
            return
        rows = [(row, "bold" if row[0] in ("Cpk", "Ppk") else "") for row in _rows(part.capability, measure)]
        print_table(self._console, ("", "value", "95 %", "of"), rows, right=("value",), whole=("", "value", "95 %"))
        if part.risk:
            self._line(_risk_text(part.risk, measure))
        for sentence in _said(part):
            self._line(sentence, "yellow")

    def _chart(self, chart: ChartFigure, limits: int) -> None:
        what = (
            f"subgroups by {chart.subgroup}, mean and {chart.spread}" if chart.subgroup else "values and moving ranges"
        )
        self._line(f"CONTROL CHART  {plain(what, _CELL)}", "bold")
        self._line(_lines_text(chart))
        if limits > 1:
            self._line(f"the chart takes the values of all {limits} pairs of limits together: the process is one")
        if chart.too_small:
            self._line(f"{counted(chart.too_small, 'subgroup')} of one value left out")
        if chart.spread_beyond:
            self._line(f"{counted(chart.spread_beyond, 'point')} of the {chart.spread} beyond the limits", "yellow")
        if not chart.fired:
            self._line(f"no rule of {chart.rules.title()} fires")
            return
        names = {point.run_id: Path(point.folder).name or point.run_id for point in chart.points}
        headings = ("rule", "fires", "when", "last runs")
        rows = [
            (
                (
                    each.rule,
                    str(each.count),
                    each.says,
                    ", ".join(plain(names.get(run, run)) for run in each.runs[-_RUNS:]),
                ),
                "yellow",
            )
            for each in chart.fired
        ]
        print_table(self._console, headings, rows, right=("fires",), whole=("rule",))


def _extent(figure: CapabilityFigure) -> str:
    told = counted(figure.n, "value") + (f"; {figure.filters}" if figure.filters else "")
    told += f"; the {figure.of} of each stream" if figure.of != "value" else ""
    if figure.not_numbers:
        told += f"; {counted(figure.not_numbers, 'reading')} left out: not a number"
    return told + (f"; {counted(figure.apart, 'run')} left out: {LEFT_OUT}" if figure.apart else "")


def limits_text(part: AgainstLimits, measure: str) -> str:
    low, high = (None if end is None else measured(end, measure) for end in (part.low, part.high))
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}" if high else "none with a number"


def _rows(found: Capability, measure: str) -> Iterator[Sequence[str]]:
    yield _row("mean", found.mean, "", measure)
    within, whole = found.within, found.overall
    yield _row(
        "sd within",
        within.spread.sd,
        f"{within.spread.method}, {within.spread.freedom:.4g} degrees of freedom",
        measure,
    )
    yield _row("sd overall", whole.spread.sd, f"n - 1, {whole.spread.freedom:.4g} degrees of freedom", measure)
    yield from _indices(("Cp", "Cpk"), within, "within")
    yield from _indices(("Pp", "Ppk"), whole, "overall")
    observed, counts = found.outside.observed, f"{found.outside.below} below, {found.outside.above} above, of {found.n}"
    yield ("outside", percent(observed.value), _percents(observed), f"observed: {counts}")
    if fitted := found.outside.fitted:
        yield ("outside", percent(fitted.value), _percents(fitted), "fitted: normal distribution, overall")
    if found.percentiles:
        yield from _percentiles(found.percentiles)


def _indices(names: tuple[str, str], found: Indices, what: str) -> Iterator[Sequence[str]]:
    for name, each in zip(names, (found.ratio, found.worst), strict=True):
        yield (name, "–", "–", what) if each is None else (name, f"{each.value:.3f}", _interval(each, ".3f"), what)


def _percentiles(found: Percentiles) -> Iterator[Sequence[str]]:
    for name, each in (("Pp", found.ratio), ("Ppk", found.worst)):
        if each:
            yield (
                name,
                f"{each.value:.3f}",
                _interval(each, ".3f"),
                f"percentiles, any distribution: {found.estimator}",
            )


def _row(name: str, each: Estimate, what: str, measure: str) -> Sequence[str]:
    interval = "too few values" if each.low is None or each.high is None else _even(each.low, each.high)
    return (name, measured(each.value, measure), interval, what)


def _even(low: float, high: float) -> str:
    """Both ends with as many decimals."""
    ends = number(low), number(high)
    if any("e" in end for end in ends):
        return " to ".join(ends)
    decimals = max(len(end.partition(".")[2]) for end in ends)
    return f"{low:.{decimals}f} to {high:.{decimals}f}"


def _interval(each: Estimate, form: str) -> str:
    if each.low is None or each.high is None:
        return "too few values"
    return f"{each.low:{form}} to {each.high:{form}}"


def _percents(each: Estimate) -> str:
    return "–" if each.low is None or each.high is None else f"{percent(each.low)} to {percent(each.high)}"


def percent(share: float) -> str:
    """Small shares keep three digits, as far as any model of a process can be believed."""
    if 0 < share < _LEAST:
        return f"below {100 * _LEAST:.3g} %"
    return f"{100 * share:.3g} %"


def number(value: float) -> str:
    return f"{value:.6g}"


def measured(value: float, measure: str) -> str:
    return f"{number(value)} {plain(measure, _CELL)}".rstrip()


def _said(part: AgainstLimits) -> Iterator[str]:
    """What a reader of these numbers should know."""
    found = part.capability
    if found is None:
        return
    if part.low is None or part.high is None:
        yield f"Cp and Pp are undefined: they need two limits, and this reading has {limits_text(part, '')}"
    if found.within.worst is None:
        yield f"Cp and Cpk are undefined: the standard deviation within is 0 ({found.within.spread.method})"
    for each in part.doubts:
        p = "" if each.p is None else ", p below 0.0001" if each.p < 1e-4 else f", p {each.p:.2g}"
        yield each.says + (f" ({each.test}{p})" if each.test else "")
    if part.no_risk:
        yield f"no risks: {part.no_risk}"
    if found.no_percentiles and any(each.about == "not normal" for each in part.doubts):
        yield f"no form for other distributions: {found.no_percentiles}"


def _risk_text(risk: RiskFigure, measure: str) -> str:
    bad, consumer, producer = map(percent, (risk.risks.bad, risk.risks.consumer, risk.risks.producer))
    how = f"U {measured(risk.uncertainty, measure)} (k 2), guard band {measured(risk.guard, measure)}"
    return f"risks with {how}: bad units {bad}, bad ones that pass {consumer}, good ones that fail {producer}"


def _lines_text(chart: ChartFigure) -> str:
    sigma = f"standard deviation {measured(chart.sigma, chart.measure)}"
    if chart.lines is None:
        return f"centre {measured(chart.centre, chart.measure)}, {counted(len(chart.points) + chart.left_out, 'subgroup')}, {sigma}"
    ends = f"{number(chart.lines.low)} to {measured(chart.lines.high, chart.measure)}"
    return f"centre {measured(chart.centre, chart.measure)}, limits {ends}, {sigma}"
