"""`benchrig history rebuild`: a history made anew from the records."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.history_filling import RESULTS, folders_argument, place_for, show
from benchrig.cli.options import history_option, json_option
from benchrig.cli.out import whatever_the_output_does


@click.command(short_help="Make a history anew from the records.")
@folders_argument()
@history_option()
@json_option()
def rebuild(folders: tuple[Path, ...], history: str, as_json: bool) -> None:
    """Make the history anew from the records in DIR and in all folders below it: results, where none is named. The history before
    stays until the new one is whole. On a server the runs whose folders are on other computers stay. Exit code 1: a record is
    damaged, or has the run id of another one.

    \b
    Example:
      benchrig history rebuild
      benchrig history rebuild /mnt/line-1 /mnt/line-2 --history lines.sqlite
    """
    with errors_for_people():
        from benchrig.history.filling import rebuild as rebuilt

        place = place_for(history, folders)
        filled = rebuilt(place, folders or (RESULTS,))
        with whatever_the_output_does():
            show(place, filled, as_json=as_json)
        sys.exit(0 if filled.is_whole else 1)
