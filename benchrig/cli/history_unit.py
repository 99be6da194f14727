"""`benchrig history unit`: the whole life of one unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, history_options
from benchrig.cli.history_runs import run_columns, run_data
from benchrig.cli.options import flag, json_option
from benchrig.cli.out import print_json, whatever_the_output_does

if TYPE_CHECKING:
    from benchrig.history.opening import History
    from benchrig.history.questions.life import Life, LifeRun


@click.command(short_help="Show the whole life of one unit.")
@click.argument("name", metavar="UNIT")
@history_options()
@flag("--readings", "with_readings", help="Show every judged reading of each run too.")
@json_option()
@flag("--csv", "as_csv", help="One row a run, as CSV.")
def unit(name: str, chosen: Chosen, with_readings: bool, as_json: bool, as_csv: bool) -> None:
    """Show all runs in which UNIT was tested: its serial number, read or given, or its address. Where a label and the
    unit itself told different serial numbers, both find the run, and it says so.

    \b
    Example:
      benchrig history unit VFL3-000042
      benchrig history unit VFL3-000042 --readings --json
    """
    with errors_for_people(), chosen.open() as history:
        from benchrig.history.questions.life import life_of

        life = life_of(history, name, simulated=chosen.simulated, with_readings=with_readings)
        with whatever_the_output_does():
            if as_json:
                print_json(_data(history, life))
                return
            from benchrig.cli.history_text import HistoryPage, print_csv

            if as_csv:
                columns = (*run_columns(), "found_by", "disagrees")
                print_csv(columns, (_row(history, each) for each in life.runs))
            else:
                HistoryPage(history).life(life)


def _data(history: History, life: Life) -> dict[str, Any]:
    import msgspec

    told = [{**_row(history, each), "readings": msgspec.to_builtins(each.readings)} for each in life.runs]
    disagreements = msgspec.to_builtins(life.disagreements)
    return {**msgspec.to_builtins(life), "history": history.place.shown, "runs": told, "disagreements": disagreements}


def _row(history: History, lived: LifeRun) -> dict[str, Any]:
    return {**run_data(history, lived.run), "found_by": lived.found_by, "disagrees": lived.seen.disagrees}
