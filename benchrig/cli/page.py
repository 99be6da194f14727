"""`benchrig page`: a page for a browser, of many runs, of one unit or of one run."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, filter_options
from benchrig.cli.options import path_option
from benchrig.cli.out import echo, whatever_the_output_does
from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.history.opening import History

_LONGEST = 80


@click.command(short_help="Write a page for a browser: of many runs, of one unit or of one run.")
@click.argument("folder", required=False, metavar="[RUN]", type=click.Path(exists=True, path_type=Path))
@filter_options()
@path_option(
    "-o",
    "--output",
    help="Write this file.  [default: runs.html, or unit_NAME.html, beside the history; report.html in the folder of RUN]",
)
def page(folder: Path | None, chosen: Chosen, output: Path | None) -> None:
    """Write one HTML file with the yield of the runs, what units failed of, each reading with its histogram and control
    chart, and how it changes over firmware revisions. With --unit alone: the whole life of that unit. With RUN, the folder
    of a run: the page of that run, from its record, as each run leaves it by itself.

    The page needs no network and no other file. It links to the pages of the runs, and still does when both are moved
    together.

    \b
    Example:
      benchrig page --plan 'Vaccine fridge logger, end of line' --since 2026-11-01
      benchrig page --unit VFL3-000042 --output VFL3-000042.html
      benchrig page results/20260105T060000-end-of-line
    """
    with errors_for_people():
        file = _of_run(folder, chosen, output) if folder else _of_many(chosen, output)
        with whatever_the_output_does():
            echo(f"page: {file}")


def _of_many(chosen: Chosen, output: Path | None) -> Path:
    from benchrig.pages.whole_set import BEGINS

    with chosen.open() as history:
        unit = _unit(chosen)
        file = output or (history.place.base or Path()) / (f"unit_{_plain(unit)}.html" if unit else "runs.html")
        return _written(file, _made(history, chosen, unit, file), BEGINS)


def _of_run(folder: Path, chosen: Chosen, output: Path | None) -> Path:
    """The record says all of it: no history is asked."""
    from benchrig.record.journal import read_record
    from benchrig.report.files.page import REPORT

    if chosen != Chosen(None, False):
        raise UsageError("RUN goes with --output alone", advice="leave the filters out, or RUN")
    beside = folder if folder.is_dir() else folder.parent
    return _written(output or beside / REPORT.file_name, REPORT.render(read_record(folder)), REPORT.begins)


def _written(file: Path, page: bytes, begins: bytes) -> Path:
    from benchrig.files import write_whole
    from benchrig.report.place import clear

    clear("--output", begins, file)
    write_whole(file, page, advice="give another file to --output")
    return file


def _unit(chosen: Chosen) -> str:
    """The unit whose life is asked for; '' for a set of runs."""
    from benchrig.history.questions.filters import Filters

    alone = Filters(unit=chosen.unit, simulated=chosen.simulated) == chosen.filters
    return chosen.unit[0] if alone and len(chosen.unit) == 1 else ""


def _made(history: History, chosen: Chosen, unit: str, file: Path) -> bytes:
    from datetime import UTC, datetime

    from benchrig.pages.whole_set import page_of_set
    from benchrig.pages.whole_unit import page_of_unit

    on = datetime.now(UTC)
    if unit:
        return page_of_unit(history, unit, file, on, simulated=chosen.simulated)
    if chosen.verdict or chosen.cause:
        raise UsageError(
            "a page of runs that are selected by verdict or cause has no yield",
            advice="leave --verdict and --cause out; benchrig history runs has them",
        )
    return page_of_set(history, chosen.filters, file, on)


def _plain(name: str) -> str:
    """As part of the name of a file."""
    return re.sub(r"[^\w.-]+", "_", name)[:_LONGEST]
