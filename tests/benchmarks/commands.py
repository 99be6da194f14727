"""Whole commands as a user starts them: a process each, its CPU seconds, the best of several."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import click

from tests.run.kit import DEVICES, PLANS, plan_text

STEP = "  - read: temperature\n    expect: {value: {min: 15 °C, max: 30 °C}, elapsed: {max: 500 ms}}\n"


def cpu_of(*arguments: str | Path, python: str = sys.executable) -> float:
    """CPU seconds of `benchrig ARGUMENTS`; it must succeed."""
    before = _of_children()
    subprocess.run([python, "-P", "-m", "benchrig", *arguments], check=True, capture_output=True)
    return _of_children() - before


def _of_children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def print_seconds(what: str, *arguments: str | Path, aim: float, rounds: int = 5) -> None:
    best = min(cpu_of(*arguments) for _ in range(rounds))
    click.echo(f"{what}: {best:.2f} s of CPU (aim < {aim:g} s)")


def commands() -> None:
    with tempfile.TemporaryDirectory() as folder:
        plan, results = Path(folder) / "plan.yaml", Path(folder) / "results"
        plan.write_text(plan_text(STEP * 4_998), encoding="utf-8")
        print_seconds("benchrig --help", "--help", aim=0.2)
        print_seconds("benchrig check, 5,000 steps with 9,996 limits", "check", plan, aim=1)
        on_air = ("--radio", f"virtual:{DEVICES / 'logger.yaml'}", "--acknowledge", "--results", results)
        for name, aim in (("smoke", 0.4), ("end_of_line", 0.6)):
            run = ("run", PLANS / f"{name}.yaml", *on_air)
            print_seconds(f"benchrig run testplans/{name}.yaml, virtual radio", *run, aim=aim)
