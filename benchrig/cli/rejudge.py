"""`benchrig rejudge`: what runs come to by another plan or limit set, with no device."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import flag, json_option, limits_option, path_option
from benchrig.cli.out import print_json, whatever_the_output_does

if TYPE_CHECKING:
    from benchrig.rejudge.results import Results

ALTERED, NOTHING_KNOWN = 1, 5


@click.command(short_help="See what runs come to by other limits.")
@click.argument("results", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@path_option(
    "--plan", "plan", required=True, there=True, help="The plan to judge by: that of the runs, or another revision."
)
@limits_option()
@flag("--simulated", help="Judge simulated runs, and these alone.")
@json_option()
def rejudge(results: tuple[Path, ...], plan: Path, limits: Path | None, simulated: bool, as_json: bool) -> None:
    """Judge the readings of runs again, by another revision of their plan or by a limit set: what the yield would have been,
    which runs change their verdict and by which reading, and what nobody can say.

    RESULTS are folders of runs, or folders with such folders. No device is needed, and no record is changed.

    By the plan and the limits of the run each run comes to what its record says. Where it does not, the record was altered.

    Exits with 0, with 1 when a record was altered, with 4 when plan or folders are wrong, with 5 when nobody can say of any
    run what it comes to.

    \b
    Example:
      benchrig rejudge results --plan end_of_line.yaml --limits eu.yaml
      benchrig rejudge results/2026-01-05 --plan end_of_line.yaml --json
    """
    from benchrig.rejudge.several import rejudge_all

    with errors_for_people():
        made = rejudge_all(results, plan, limits, simulated=simulated)
        with whatever_the_output_does(verdict=True):
            if as_json:
                print_json(made)
            else:
                from benchrig.cli.rejudge_text import RejudgePage

                RejudgePage().show(made)
        sys.exit(_code(made))


def _code(made: Results) -> int:
    if any(run.altered for run in made.runs):
        return ALTERED
    return 0 if any(run.after is not None for run in made.runs) else NOTHING_KNOWN
