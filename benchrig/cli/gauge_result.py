"""`benchrig gauge status` and `result`: what the folders of a study hold, and what they come to."""

from __future__ import annotations

import os
from pathlib import Path

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import json_option, option
from benchrig.cli.out import print_json, whatever_the_output_does
from benchrig.errors import UsageError

_folders = click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FOLDER…")


@click.command(short_help="See what a study still needs.")
@_folders
@json_option()
def status(folders: tuple[Path, ...], as_json: bool) -> None:
    """Tell what has been measured in the FOLDERs of one study, what is missing, and which runs do not count."""
    from benchrig.gauge.state import state_of
    from benchrig.gauge.telling import progress_of

    with errors_for_people():
        state = state_of(folders)
        with whatever_the_output_does():
            if as_json:
                print_json(progress_of(state))
                return
            from benchrig.cli.gauge_text import StatusPage

            StatusPage().show(state)


@click.command(short_help="Tell what a study came to.")
@_folders
@option("--reading", "readings", multiple=True, metavar="STEP.READING", help="Tell this reading of the study alone.")
@click.option(
    "--reference",
    metavar="VALUE",
    help="The value that the one unit of a short form really has: '21.4 °C', or a number in the unit of the reading.",
)
@json_option()
def result(folders: tuple[Path, ...], readings: tuple[str, ...], reference: str | None, as_json: bool) -> None:
    """Work out the figures of a study from all its FOLDERs: by analysis of variance and by ranges, of the total variation and
    of the tolerance. A measurement that is missing is named, and no figure is told.
    """
    from benchrig.gauge.figure import figure_of
    from benchrig.gauge.state import state_of

    with errors_for_people():
        state = state_of(folders)
        if reference is not None and not (state.design.is_short and len(readings or state.design.readings) == 1):
            raise UsageError(
                "--reference goes with one reading of a study of one unit", advice="name the reading with --reading"
            )
        made = figure_of(state, readings, reference or "")
        with whatever_the_output_does():
            if as_json:
                print_json(made)
                return
            from benchrig.cli.gauge_result_text import ResultPage

            ResultPage().show(made, os.path.normpath(folders[0] / made.plan))
