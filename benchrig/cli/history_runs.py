"""`benchrig history runs`: which runs the history has."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, filter_options
from benchrig.cli.options import flag, json_option, option
from benchrig.cli.out import print_json, whatever_the_output_does
from benchrig.cli.types import Whole

if TYPE_CHECKING:
    from benchrig.history.opening import History
    from benchrig.history.questions.runs import RunRow

# Rows of a table that nobody asked to be longer.
_LAST = 50


@click.command(short_help="List the runs of a history.")
@filter_options()
@option(
    "--last",
    type=Whole(1),
    metavar="N",
    help=f"Show the last N runs.  [default: {_LAST} in a table, all in JSON and CSV]",
)
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
        shown = found[-(last or (len(found) if as_json or as_csv else _LAST)) :]
        with whatever_the_output_does():
            _show(history, shown, len(found) - len(shown), chosen, as_json=as_json, as_csv=as_csv)


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
