"""`benchrig history add`: records into a history."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.history_filling import folders_argument, place_for, show
from benchrig.cli.options import history_option, json_option
from benchrig.cli.out import whatever_the_output_does


@click.command(short_help="Add the records of runs to a history.")
@folders_argument(required=True)
@history_option()
@json_option()
def add(folders: tuple[Path, ...], history: str, as_json: bool) -> None:
    """Add the records in DIR, and in all folders below it, to the history. A run that the history has is not added again: it may
    be added as often as you like, and from several computers at once. Exit code 1: a record is damaged, or has the run id of
    another one.

    \b
    Example:
      benchrig history add results
      benchrig history add /mnt/line-1 /mnt/line-2 --history postgresql://reader@factory/history
    """
    with errors_for_people():
        from benchrig.history.filling import fill
        from benchrig.history.folders import found
        from benchrig.history.opening import open_history

        records, place = found(folders), place_for(history, folders)
        with open_history(place, make=True) as opened:
            filled = fill(opened, records)
        with whatever_the_output_does():
            show(place, filled, as_json=as_json)
        sys.exit(0 if filled.is_whole else 1)
