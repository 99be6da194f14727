"""`benchrig page`: a page for a browser, of many runs or of one unit."""

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


@click.command(short_help="Write a page for a browser: of many runs, or of one unit.")
@filter_options()
@path_option("-o", "--output", help="Write this file.  [default: runs.html, or unit_NAME.html, beside the history]")
def page(chosen: Chosen, output: Path | None) -> None:
    """Write one HTML file with the yield of the runs, what units failed of, each reading with its histogram and control
    chart, and how it changes over firmware revisions. With --unit alone: the whole life of that unit.

    The page needs no network and no other file. It links to the pages of the runs, and still does when both are moved
    together.

    \b
    Example:
      benchrig page --plan 'end of line' --since 2026-11-01
      benchrig page --unit VFL3-000042 --output VFL3-000042.html
    """
    with errors_for_people(), chosen.open() as history:
        from benchrig.files import write_whole
        from benchrig.pages.whole_set import BEGINS
        from benchrig.report.place import clear

        unit = _unit(chosen)
        file = output or (history.place.base or Path()) / (f"unit_{_plain(unit)}.html" if unit else "runs.html")
        made = _made(history, chosen, unit, file)
        clear("--output", BEGINS, file)
        write_whole(file, made, advice="give another file to --output")
        with whatever_the_output_does():
            echo(f"page: {file}")


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
