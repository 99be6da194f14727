"""Large attribute tables: CPU seconds of a whole run that reads every characteristic, from files to reports, and how they
grow with the table."""

from __future__ import annotations

import gc
import tempfile
import time
from functools import partial
from pathlib import Path

import click

from benchrig import collector
from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.choose import choose_steps
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station
from tests.benchmarks.timing import best_in_turn
from tests.run.kit import device_text, plan_text

SMALL, LARGE, ALL = 500, 4000, 5000
AIM = 6.0
ROUNDS = 2
AIM_OF_GROWTH = 1.1
IN_A_SERVICE = 50


def uuid(number: int) -> str:
    return f"6b1e{number:04x}-9a53-4c86-8a3e-2f0f6c1d7e40"


def device(count: int) -> str:
    text = "services:\n"
    for number in range(count):
        if number % IN_A_SERVICE == 0:
            text += f"  - service: 6b1d{number:04x}-9a53-4c86-8a3e-2f0f6c1d7e40\n    characteristics:\n"
        text += f"      - {{characteristic: {uuid(number)}, as: uint8, properties: [read], value: 1}}\n"
    return device_text(text)


def plan(count: int) -> str:
    step = "  - read: {}\n    format: {{as: uint8}}\n    expect: {{value: {{equals: 1}}}}\n"
    steps = "".join(step.format(uuid(number)) for number in range(count))
    return plan_text(steps, reach="steps:\n  - scan:\n    for: 300 ms\n  - connect:\n    within: 1 h\n")


def seconds(count: int) -> float:
    """CPU seconds of a run on a device of so many characteristics."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plan_file, device_file = folder / "plan.yaml", folder / "device.yaml"
        plan_file.write_text(plan(count), encoding="utf-8")
        device_file.write_text(device(count), encoding="utf-8")
        gc.unfreeze()
        gc.collect()
        collector.begin()  # as the process does
        started = time.process_time()
        loaded = load_plan(plan_file, {})
        radio = RadioChoice("virtual", files=(device_file,))
        options = RunOptions(loaded, choose_steps(loaded), Station("bench"), radio, folder)
        ended = launch(options, Unattended(), []).record.ended
    assert ended is not None
    assert ended.verdict == "pass", ended.message
    return time.process_time() - started


def table() -> None:
    """A device whose every characteristic is read: the best of some rounds, all sizes in turn."""
    seconds(10)
    best = best_in_turn(ROUNDS, {str(count): partial(rate, count) for count in (SMALL, LARGE, ALL)})
    growth = best[str(SMALL)] / best[str(LARGE)]
    click.echo(
        f"table: {ALL:,} characteristics read in {ALL / best[str(ALL)]:.1f} s of CPU (aim ≤ {AIM:g}); "
        f"from {SMALL:,} to {LARGE:,} one costs {growth:.2f} times as much (aim ≤ {AIM_OF_GROWTH})"
    )


def rate(count: int) -> float:
    """Characteristics a second."""
    return count / seconds(count)
