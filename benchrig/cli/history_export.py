"""`benchrig history export`: readings into a file for other programs."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.filtering import Chosen, filter_options
from benchrig.cli.options import flag
from benchrig.cli.out import tell, whatever_the_output_does
from benchrig.source.problem import counted

if TYPE_CHECKING:
    from benchrig.history.opening import History
    from benchrig.history.questions.export import Exported


@click.command(short_help="Write readings into a file for other programs.")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("labels", nargs=-1, metavar="[STEP.READING]…")
@filter_options()
@flag("--studies", help="Export the runs of gauge studies too; the column study names theirs.")
@flag("--force", help="Write over a file that already exists.")
def export(file: Path, labels: tuple[str, ...], chosen: Chosen, studies: bool, force: bool) -> None:
    """Write every judged reading of the runs that fit into FILE, one row each: CSV where its name ends in .csv, Arrow where
    it ends in .arrow or .feather. Partial runs are in it, and say so; those of gauge studies, and those of a line that check the station or only clean up,
    are left out, and counted.

    \b
    Example:
      benchrig history export readings.csv --plan 'Vaccine fridge logger, end of line'
      benchrig history export temperature.feather 'read temperature.value'
    """
    with errors_for_people():
        from benchrig.files import writable
        from benchrig.history.questions.export import kind_of

        kind = kind_of(file)
        writable(file, force=force)
        with chosen.open() as history:
            count, left_out, checks = _write(history, file, labels, chosen, kind, studies=studies)
        with whatever_the_output_does(verdict=True):
            simulated = "SIMULATED: " * chosen.simulated
            tell(f"{simulated}{counted(count, 'reading')} written to {file}")
            if left_out:
                tell(f"{counted(left_out, 'run')} of gauge studies left out: --studies exports them too")
            if checks:
                tell(
                    f"{counted(checks, 'run')} that check the station, or only clean up, left out: --purpose exports them"
                )


def _write(
    history: History, file: Path, labels: tuple[str, ...], chosen: Chosen, kind: str, *, studies: bool
) -> Exported:
    """Beside its place first: what is there stays as it is until the new file is whole."""
    from benchrig.files import cannot_write
    from benchrig.history.questions.export import export

    beside = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        with beside.open("wb") as out:
            exported = export(history, labels, chosen.filters, out, kind, studies=studies)
        beside.replace(file)
    except OSError as error:
        raise cannot_write(file, error, "choose another place") from error
    finally:
        beside.unlink(missing_ok=True)
    return exported
