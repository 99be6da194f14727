"""`benchrig history deliver`: the runs that wait for their history."""

from __future__ import annotations

import sys
from contextlib import suppress
from pathlib import Path

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.history_filling import RESULTS, folders_argument, place_for, show
from benchrig.cli.options import history_option, json_option
from benchrig.cli.out import whatever_the_output_does


@click.command(short_help="Bring the runs that wait into the history.")
@folders_argument()
@history_option()
@json_option()
def deliver(folders: tuple[Path, ...], history: str, as_json: bool) -> None:
    """Bring the runs in DIR that wait for their history into it: results, where none is named. A run waits when the history was
    away at its end, or when its process was killed. Exit code 7: the history is away; the runs wait on.

    \b
    Example:
      benchrig history deliver
      benchrig history deliver results/line-2 --history postgresql://line2@factory/history
    """
    with errors_for_people():
        from benchrig.history.delivery import due
        from benchrig.history.filling import fill
        from benchrig.history.opening import open_history
        from benchrig.history.waiting import wait_for_history

        results = folders or (RESULTS,)
        place = place_for(history, results)
        with open_history(place, make=True) as opened:
            wait = [folder for each in results for folder in due(each)]
            for folder in wait:  # also those that were meant for another one
                with suppress(OSError):
                    wait_for_history(folder, place)
            filled = fill(opened, wait)
        with whatever_the_output_does():
            show(place, filled, as_json=as_json)
        sys.exit(0 if filled.is_whole else 1)
