"""`benchrig capability`: how the spread of a reading compares with its limits, and whether it stays what it was."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, filter_options
from benchrig.cli.options import json_option, option
from benchrig.cli.out import print_json, whatever_the_output_does
from benchrig.errors import UsageError
from benchrig.history.questions.words import SAMPLES, SUBGROUPS

if TYPE_CHECKING:
    from benchrig.figures.capability import CapabilityFigure
    from benchrig.figures.chart import ChartFigure
    from benchrig.history.questions.values import Of, Values
    from benchrig.study.charts.rules import RuleSet

_RULES = ("nelson", "western electric")


@click.command(short_help="Compare the spread of a reading with its limits.")
@click.argument("reading", metavar="STEP.READING")
@filter_options()
@option("--subgroup", default="", metavar="WHAT",
        help=f"Take the standard deviation within, and the chart, by subgroups: {', '.join(SUBGROUPS)}, or N values in a "
        "row.  [default: neighbouring values]")  # fmt: skip
@option("--of", "of", type=click.Choice(SAMPLES), default="value",
        help="Of a stream of samples: its least, its greatest or its mean one.")  # fmt: skip
@option("--uncertainty", type=float, metavar="U",
        help="Tell the risks of the test too: U is the expanded uncertainty of the reading (k 2), in its units.")  # fmt: skip
@option("--rules", type=click.Choice(_RULES), default=_RULES[0],
        help="The run rules of the chart: those of Nelson (1984), or of Western Electric (1956).")  # fmt: skip
@json_option()
def capability(reading: str, chosen: Chosen, subgroup: str, of: str, uncertainty: float | None, rules: str,
               as_json: bool) -> None:  # fmt: skip
    """Tell the capability of a reading: Cp, Cpk, Pp, Ppk and the share beyond its limits, each with its 95 % interval; what
    speaks against these numbers; the signals of a control chart.

    Values that were held against other limits are shown apart. Left out, and counted, are partial runs, those of gauge
    studies, and those that were cut off or broken off by station, operator or benchrig.

    \b
    Example:
      benchrig capability 'read temperature.value'
      benchrig capability 'read temperature.value' --station 'line 2' --since 2026-11-01 --subgroup day
    """
    with errors_for_people(), chosen.open() as history:
        from benchrig.figures.capability import capability_figure, numbers_of

        if chosen.verdict or chosen.cause:
            raise UsageError(
                "a capability of runs that are selected by verdict or cause says nothing",
                advice="leave --verdict and --cause out; benchrig history readings has them",
            )
        values = numbers_of(history, reading, chosen.filters, cast("Of", of))
        figure = capability_figure(values, cast("Of", of), subgroup, uncertainty)
        chart = _chart(values, cast("Of", of), subgroup, cast("RuleSet", rules))
        with whatever_the_output_does():
            _show(history.place.shown, figure, chart, as_json=as_json)


def _chart(values: Values, of: Of, subgroup: str, rules: RuleSet) -> ChartFigure | str:
    """Or why there is none."""
    from benchrig.figures.chart import chart_figure

    try:
        return chart_figure(values, of, subgroup, rules)
    except UsageError as error:
        return str(error)


def _show(history: str, figure: CapabilityFigure, chart: ChartFigure | str, *, as_json: bool) -> None:
    if not as_json:
        from benchrig.cli.capability_text import CapabilityPage

        CapabilityPage().show(figure, chart)
        return
    import msgspec

    told = {"chart": None, "no_chart": chart} if isinstance(chart, str) else {"chart": msgspec.to_builtins(chart)}
    head = {"history": history, "filters": figure.filters, "simulated": figure.simulated}
    print_json({**head, "capability": msgspec.to_builtins(figure), **told})
