"""Whole commands as a user starts them: a process each, by the wall clock, the best of several."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import click

from tests.run.kit import DEVICES, PLANS, plan_text

STEP = "  - read: temperature\n    expect: {value: {min: 15 °C, max: 30 °C}, elapsed: {max: 500 ms}}\n"


def seconds_of(*arguments: str | Path, rounds: int = 5) -> float:
    """The best wall time of `benchrig ARGUMENTS`; it must succeed."""
    best = float("inf")
    for _ in range(rounds):
        started = time.perf_counter()
        subprocess.run([sys.executable, "-m", "benchrig", *arguments], check=True, capture_output=True)
        best = min(best, time.perf_counter() - started)
    return best


def print_seconds(what: str, seconds: float, aim: float) -> None:
    click.echo(f"{what}: {seconds:.2f} s (aim < {aim:g} s)")


def commands() -> None:
    with tempfile.TemporaryDirectory() as folder:
        plan = Path(folder) / "plan.yaml"
        plan.write_text(plan_text(STEP * 4_998), encoding="utf-8")
        print_seconds("benchrig --help", seconds_of("--help"), 0.2)
        print_seconds("benchrig check, 5,000 steps with 9,996 limits", seconds_of("check", plan), 1)
        line = PLANS / "end_of_line.yaml"
        radio = f"virtual:{DEVICES / 'logger.yaml'}"
        run = seconds_of("run", line, "--radio", radio, "--acknowledge", "--results", Path(folder) / "results")
        print_seconds("benchrig run testplans/end_of_line.yaml, virtual radio", run, 2)
