"""`benchrig gauge begin`: the folder of a study."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import limits_option, option, path_option
from benchrig.cli.out import echo, whatever_the_output_does
from benchrig.cli.types import Whole


@click.command(short_help="Make the folder of a study.")
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
    from benchrig.station.station import load_station

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
