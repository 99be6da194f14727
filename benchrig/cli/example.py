"""`benchrig example`: plans and simulated devices to begin with."""

from __future__ import annotations

from pathlib import Path

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.out import echo, whatever_the_output_does

_NEXT = """Next, in {folder}:
  benchrig check testplans/end_of_line.yaml
  benchrig run testplans/end_of_line.yaml --radio virtual:testplans/devices/logger.yaml --acknowledge
  benchrig run testplans/returned_unit.yaml --radio virtual:testplans/devices/returned_logger.yaml

A plan and a Python test side by side in pytest (pip install 'benchrig[pytest]'):
  pytest testplans/smoke.yaml testplans/test_logger.py --benchrig-radio virtual:testplans/devices/logger.yaml

testplans/README.md is the reference of plans. No radio is needed for a simulated device."""


@click.command(short_help="Write example plans and simulated devices.")
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path), metavar="DIR")
def example(folder: Path) -> None:
    """Write the example plans into a folder, with the simulated devices that they run on, a Python test, a station
    file, and the reference. The folder is made where it does not exist; no file is written over.

    \b
    Example:
      benchrig example .
      benchrig example first-look
    """
    from benchrig.example.placing import cautions, place

    with errors_for_people():
        files = place(folder)
        with whatever_the_output_does():
            echo(f"{len(files)} files are in {folder / 'testplans'}")
            echo("\nCaution. On a real unit, these plans do more than look:")
            for name, caution in cautions(folder).items():
                echo(f"  {name}: {caution}")
            echo(f"\n{_NEXT.format(folder=folder)}")
