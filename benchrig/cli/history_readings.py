"""`benchrig history readings`: the values of a reading over many runs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, cast

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, filter_options, last_option, shown_of
from benchrig.cli.options import flag, json_option, option
from benchrig.cli.out import print_json, whatever_the_output_does
from benchrig.history.questions.words import LEFT_OUT, SAMPLES

if TYPE_CHECKING:
    from datetime import datetime

    from benchrig.history.opening import History
    from benchrig.history.questions.values import Of, Values

_COLUMNS = (
    "run_id", "started", "unit", "value", "measure", "low", "high", "stated_low", "stated_high", "passed", "station",
    "firmware", "limit_set", "plan_hash", "simulated", "folder", "slot", "purpose",
)  # fmt: skip
_LISTED = ("reading", "measure", "plan", "simulated")


@click.command(short_help="Show the values of a reading over many runs.")
@click.argument("reading", metavar="[STEP.READING]", required=False)
@filter_options()
@last_option("values")
@option("--of", "of", type=click.Choice(SAMPLES), default="value",
        help="Of a stream of samples: its least, its greatest or its mean one.")  # fmt: skip
@json_option()
@flag("--csv", "as_csv", help="One row a value, as CSV.")
def readings(reading: str | None, chosen: Chosen, last: int | None, of: str, as_json: bool, as_csv: bool) -> None:
    """Show the values of a reading, in the order of the runs; without one, which readings there are. Left out, and
    counted, are partial runs, those of gauge studies, and those that were cut off or broken off by station, operator or
    benchrig; of the last ones the values come with --cause or --verdict.

    \b
    Example:
      benchrig history readings
      benchrig history readings 'read temperature.value' --last 20 --station 'line 2'
    """
    with errors_for_people(), chosen.open() as history:
        if reading is None:
            _list(history, chosen, as_json=as_json, as_csv=as_csv)
            return
        from benchrig.history.questions.values import values_of

        values = values_of(history, reading, chosen.filters, cast("Of", of))
        count = shown_of(len(values), last, in_table=not (as_json or as_csv))
        with whatever_the_output_does():
            _show(history, values, count, as_json=as_json, as_csv=as_csv)


def _list(history: History, chosen: Chosen, *, as_json: bool, as_csv: bool) -> None:
    from benchrig.cli.history_text import HistoryPage, print_csv
    from benchrig.history.questions.channels import channels_of

    known = channels_of(history, chosen.filters)
    told = [{"reading": each.label, "measure": each.measure, "plan": each.plan} for each in known]
    with whatever_the_output_does():
        if as_json:
            print_json({"history": history.place.shown, "simulated": chosen.simulated, "readings": told})
        elif as_csv:
            print_csv(_LISTED, ({**row, "simulated": chosen.simulated} for row in told))
        else:
            HistoryPage(history).channels(known, simulated=chosen.simulated)


def _show(history: History, values: Values, count: int, *, as_json: bool, as_csv: bool) -> None:
    rows = [*_rows(history, values, count)]
    if as_json:
        channel = values.channel
        print_json({
            "history": history.place.shown, "filters": values.filters.described, "simulated": values.simulated,
            "plan": channel.plan, "reading": channel.label, "measure": channel.measure, "count": len(values),
            "not_numbers": values.not_numbers, "some_rounds": values.some_rounds, "apart": values.apart, "values": rows,
        })  # fmt: skip
        return
    from benchrig.cli.history_text import HistoryPage, print_csv

    if as_csv:
        from benchrig.history.questions.runs import json_moment

        print_csv(_COLUMNS, ({**row, "started": json_moment(row["started"])} for row in rows))
    else:
        HistoryPage(history).values(rows, values.channel.measure, [*_said(values, count)], simulated=values.simulated)


def _rows(history: History, values: Values, count: int) -> Iterator[dict[str, Any]]:
    names = ("value", "low", "high", "stated_low", "stated_high", "passed")
    plain = {name: getattr(values, name)[-count:].tolist() for name in names} if count else {}
    texts = ("unit", "station", "firmware", "limit_set", "plan_hash", "folder", "run_id", "slot", "purpose")
    plain |= {name: values.of_run(name)[-count:].tolist() for name in texts} if count else {}
    moments = values.started[-count:].tolist() if count else []
    for index, started in enumerate(moments):
        row = {name: _told(column[index]) for name, column in plain.items()}
        fixed = {"measure": values.channel.measure, "simulated": values.simulated, "started": _utc(started)}
        yield {**row, **fixed, "folder": str(history.folder(row["folder"]))}


def _told(value: Any) -> Any:
    """nan is no number: there is none."""
    return None if isinstance(value, float) and value != value else value


def _utc(moment: datetime) -> datetime:
    from datetime import UTC

    return moment.replace(tzinfo=UTC)


def _said(values: Values, count: int) -> Iterator[str]:
    from benchrig.source.problem import counted

    told = counted(len(values), "value")
    yield f"the last {count} of {told}" if count < len(values) else told
    if values.not_numbers:
        yield f"{counted(values.not_numbers, 'reading')} left out: not a number; a stream of samples has --of"
    if values.some_rounds:
        runs = counted(values.some_rounds, "run")
        yield f"{runs} with only some rounds of a repetition on record, all failed ones among them: no sample of all rounds"
    if values.apart:
        yield f"{counted(values.apart, 'run')} left out: {LEFT_OUT}"
