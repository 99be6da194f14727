"""`benchrig history runs`: which runs the history has."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, filter_options, last_option, shown_of
from benchrig.cli.options import flag, json_option
from benchrig.cli.out import print_json, whatever_the_output_does

if TYPE_CHECKING:
    from benchrig.history.opening import History
    from benchrig.history.questions.runs import RunRow


@click.command(short_help="List the runs of a history.")
@filter_options()
@last_option("runs")
@json_option()
@flag("--csv", "as_csv", help="One row a run, as CSV.")
def runs(chosen: Chosen, last: int | None, as_json: bool, as_csv: bool) -> None:
    """List the runs that fit all filters, in the order in which they began.

    \b
    Example:
      benchrig history runs --plan 'Vaccine fridge logger, end of line' --verdict fail --since 2026-11-01
      benchrig history runs --unit VFL3-000042 --json
    """
    with errors_for_people(), chosen.open() as history:
        from benchrig.history.questions.runs import runs_of

        found = runs_of(history, chosen.filters)
        more = len(found) - shown_of(len(found), last, in_table=not (as_json or as_csv))
        with whatever_the_output_does():
            _show(history, found[more:], more, chosen, as_json=as_json, as_csv=as_csv)


def _show(history: History, shown: list[RunRow], more: int, chosen: Chosen, *, as_json: bool, as_csv: bool) -> None:
    if as_json:
        told = [run_data(history, run) for run in shown]
        print_json(
            {
                "history": history.place.shown,
                "filters": chosen.filters.described,
                "simulated": chosen.simulated,
                "runs": told,
            }
        )
        return
    from benchrig.cli.history_text import HistoryPage, print_csv

    if as_csv:
        print_csv(run_columns(), (run_data(history, run) for run in shown))
    else:
        HistoryPage(history).runs(shown, more, simulated=chosen.simulated)


def run_data(history: History, run: RunRow) -> dict[str, Any]:
    """A run as data, with where its record is and why it does not count."""
    import msgspec

    data: dict[str, Any] = msgspec.to_builtins(run)
    return {**data, "folder": str(history.folder(run.folder)) if run.folder else "", "apart": run.apart}


def run_columns() -> tuple[str, ...]:
    from benchrig.history.questions.runs import RunRow

    return (*RunRow.__struct_fields__, "apart")
