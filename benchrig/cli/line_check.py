"""`benchrig line check`: what is wrong with a station before a shift."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchrig.cli.failing import errors_for_people
from benchrig.cli.options import json_option
from benchrig.cli.out import echo, print_json, whatever_the_output_does
from benchrig.text.escape import plain

if TYPE_CHECKING:
    from benchrig.line.checking import Checked


@click.command(short_help="Check a station before a shift.")
@click.argument("station", type=click.Path(path_type=Path))
@json_option()
def check(station: Path, as_json: bool) -> None:
    """Check the station file STATION and all that it names before a shift: plans, limit sets, approvals, programs, how a unit is
    proven to be in each slot. No radio is opened. Exits with 7 when something keeps units from being tested.

    \b
    Example:
      benchrig line check line3.yaml
    """
    from benchrig.line.checking import checked
    from benchrig.station.station import load_station

    with errors_for_people():
        found = checked(load_station(station), station)
    with whatever_the_output_does():
        if as_json:
            print_json({"station": str(station), **asdict(found)})
        else:
            _show(found)
    if found.problems:
        sys.exit(7)


def _show(found: Checked) -> None:
    from benchrig.source.problem import counted

    for slot, proof in found.proofs.items():
        echo(plain(f"slot {slot}: {proof}", 1000))
    for subject, who in found.approved.items():
        echo(plain(f"{subject}: {who or 'not approved'}", 1000))
    for each in found.found:
        echo(plain(f"{each.severity}: {each.subject}: {each.message}", 1000))
        if each.advice:
            echo(plain(f"  {each.advice}", 1000))
    echo(f"{counted(len(found.problems), 'problem')}; no radio was opened")
