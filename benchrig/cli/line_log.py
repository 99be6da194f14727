"""`benchrig line log`: what happened at a line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import json_option, path_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.cli.types import Whole

if TYPE_CHECKING:
    from benchrig.line.journal import Kept


@click.command(short_help="Show what happened at a line.")
@click.argument("station", type=click.Path(path_type=Path))
@path_option("--results", metavar="DIR", help="The results of the line.  [default: that of the station file]")
@click.option("--last", type=Whole(1), metavar="N", help="Show the last N events alone.")
@json_option("One JSON document with all events.")
def log(station: Path, results: Path | None, last: int | None, as_json: bool) -> None:
    """Show what happened at the line of the station file STATION: shifts, units, verdicts, questions, stops, and who
    did what. A rehearsal has a log beside that of the line.

    \b
    Example:
      benchrig line log line3.yaml --last 20
      benchrig line log line3.yaml --json
    """
    from benchrig.line.journal import NAME, read_line
    from benchrig.line.places import results_of
    from benchrig.station.station import load_station

    with errors_for_people():
        path = results_of(load_station(station), results) / NAME
        kept = read_line(path)
    shown = kept.events[-last:] if last else kept.events
    with whatever_the_output_does():
        if as_json:
            print_json({"log": str(path), "troubles": kept.troubles(path), "events": shown})
        else:
            _show(path, kept, len(kept.events) - len(shown))


def _show(path: Path, kept: Kept, before: int) -> None:
    from benchrig.cli.line_text import Narrator

    told = Narrator()
    lines = [told.words(event) for event in kept.events]  # of all: the first ones name the units of later ones
    for line in lines[before:] or [f"nothing happened yet: {path} has no events"]:
        echo(line)
    for trouble in kept.troubles(path):
        echo(trouble, err=True)
