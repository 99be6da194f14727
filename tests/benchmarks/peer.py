"""The same twelve checks of one sensor, as a plan and by hand with pytest and bleak: lines to write, time to run."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import click

from tests.run.kit import DEVICES, PLANS

PLAN, BY_HAND = PLANS / "twelve_checks.yaml", Path(__file__).parent / "peer_checks.py"


def lines(path: Path) -> int:
    """Lines that somebody had to write: no blank ones, no comments."""
    written = map(str.strip, path.read_text(encoding="utf-8").splitlines())
    return sum(bool(line) and not line.startswith("#") for line in written)


def seconds_of(*arguments: str | Path) -> float:
    started = time.perf_counter()
    subprocess.run([sys.executable, "-m", *map(str, arguments)], check=True, capture_output=True)
    return time.perf_counter() - started


def peer(rounds: int = 3) -> None:
    radio = f"virtual:{DEVICES / 'sensor.yaml'}"
    ours = theirs = float("inf")
    with tempfile.TemporaryDirectory() as results:
        for _ in range(rounds):
            ours = min(ours, seconds_of("benchrig", "run", PLAN, "--radio", radio, "--results", results))
            theirs = min(theirs, seconds_of("pytest", "-q", "-p", "no:cacheprovider", BY_HAND))
    click.echo(f"twelve checks as a plan: {lines(PLAN)} lines, {ours:.2f} s with reports")
    click.echo(f"twelve checks by hand:   {lines(BY_HAND)} lines, {theirs:.2f} s without")
