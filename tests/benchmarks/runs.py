"""Whole runs in one process, from options to files: how many a CPU second."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import click

from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.choose import choose_steps
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station
from tests.run.kit import DEVICES, PLANS

AIM = 30


def whole_run(folder: Path) -> None:
    """The end-of-line plan on the logger, both read from their files."""
    plan = load_plan(PLANS / "end_of_line.yaml", {})
    radio = RadioChoice("virtual", files=(DEVICES / "logger.yaml",))
    options = RunOptions(plan, choose_steps(plan), Station("bench"), radio, folder, acknowledged=True)
    ended = launch(options, Unattended(), []).record.ended
    assert ended is not None
    assert ended.verdict == "pass", ended.message


def runs(rounds: int = 3, count: int = 20) -> None:
    best = 0.0
    for _ in range(rounds):
        with tempfile.TemporaryDirectory() as folder:
            whole_run(Path(folder))
            started = time.process_time()
            for _ in range(count):
                whole_run(Path(folder))
            best = max(best, count / (time.process_time() - started))
    click.echo(f"end-of-line runs in one process: {best:.1f} a CPU second (aim ≥ {AIM})")
