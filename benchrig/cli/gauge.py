"""`benchrig gauge`: how much of what a station reads is the station."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.gauge_run import run
from benchrig.cli.options import json_option, limits_option, option, path_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.cli.types import Whole
from benchrig.errors import UsageError

_folders = click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FOLDER…")


@click.group(short_help="Study how repeatable a station measures.")
def gauge() -> None:
    """Measure the same units again and again, and tell how much of what is read is the station: repeatability,
    reproducibility, and both against the tolerance.

    \b
    Example:
      benchrig gauge begin study/ line.yaml --units A17,A18,A19,A20,A21 --appraisers Anna,Ben --repeats 3
      benchrig gauge run study/
      benchrig gauge result study/
    """


gauge.add_command(run)


@gauge.command(short_help="Make the folder of a study.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("plan", type=click.Path(path_type=Path))
@option(
    "--units",
    required=True,
    metavar="SERIAL,…",
    help="The serial numbers of the units, with commas between them. One unit makes the short form.",
)
@option("--appraisers", metavar="NAME,…", help="The stations or the persons who measure.  [default: this station]")
@option(
    "--repeats", type=Whole(2, 10000), default=3, metavar="N", help="Measure each unit N times with each appraiser."
)
@option(
    "--reading",
    "readings",
    multiple=True,
    metavar="STEP.READING",
    help="Study this reading; may be given several times.  [default: each one that the plan holds between two bounds]",
)
@option("--seed", type=Whole(0), default=0, help="Seed of the order of the units.")
@limits_option()
@path_option("--station", help="Station file: its name is the appraiser where --appraisers names none.")
def begin(folder: Path, plan: Path, units: str, appraisers: str | None, readings: tuple[str, ...],
          limits: Path | None, station: Path | None, **numbers: int) -> None:  # fmt: skip
    """Make FOLDER with the design of a study of PLAN: which units, by whom, how often, in which order.

    For several stations copy the folder to each of them, and give all copies to 'benchrig gauge result'.
    """
    from benchrig.gauge.asking import check_plan, readings_of
    from benchrig.gauge.design import Design, check_design, new_id, seen_from, write_design
    from benchrig.plan.loader import load_plan
    from benchrig.run.station import load_station

    with errors_for_people():
        loaded = load_plan(plan, limits=limits)
        check_plan(loaded)
        who = _words(appraisers) if appraisers is not None else [load_station(station).station]
        design = Design(
            new_id(), seen_from(folder, plan), loaded.hash, readings_of(loaded, readings), _words(units), who,
            limits=seen_from(folder, limits) if limits else "",
            limits_hash=loaded.limit_set.sha256 if loaded.limit_set else "",
            **numbers,
        )  # fmt: skip
        write_design(folder, check_design(design))
        _tell_begun(folder, design, chosen=bool(readings))


def _words(text: str) -> list[str]:
    return [word.strip() for word in text.split(",")]


def _tell_begun(folder: Path, design: Any, *, chosen: bool) -> None:
    from benchrig.cli.gauge_text import design_words
    from benchrig.gauge.size import size_notes

    with whatever_the_output_does():
        echo(design_words(design))
        if not chosen and len(design.readings) > 1:
            echo(
                f"all {len(design.readings)} readings that the plan holds between two bounds: --reading takes some of them"
            )
        for note in size_notes(design):
            echo(f"note: {note}")
        echo(f"begin with: benchrig gauge run {folder}")


@gauge.command(short_help="See what a study still needs.")
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


@gauge.command(short_help="Tell what a study came to.")
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
