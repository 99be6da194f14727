"""Faults a second: the end-of-line plan over the faults of the logger, in one process and in two; how that grows with the
plan and with the number of faults."""

from __future__ import annotations

import os
import random
import tempfile
import time
from pathlib import Path

import click

from benchrig.escapes.hunting import Hunt, Hunting
from benchrig.escapes.launch import sound_scene
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.registry import faults_of
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.unattended import Unattended
from tests.run.kit import DEVICES, PLANS, device_text, plan_text

AIM = 30
# What twice the work may take, at most.
AIM_OF_GROWTH = 2.3
_SERVICES = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: 21.5 °C}
"""
_READ = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"


def escapes(count: int = 120) -> None:
    """Rates in CPU seconds of the processes, what two of them gain in those of the wall."""
    plan = load_plan(PLANS / "end_of_line.yaml", {})
    sound = sound_scene(RadioChoice("virtual", files=(DEVICES / "logger.yaml",)))
    faults = random.Random(0).sample(faults_of(sound), count)
    _seconds(plan, sound, faults[:4], jobs=1)
    (one, alone), (two, both) = (_seconds(plan, sound, faults, jobs=jobs) for jobs in (1, 2))
    half, _ = _seconds(plan, sound, faults[::2], jobs=1)
    click.echo(
        f"end-of-line plan over {count} faults: {count / one:.1f} a CPU second in one process (aim ≥ {AIM}), "
        f"{count / two:.1f} in two, which take {both / alone:.2f} of its time; "
        f"twice the faults take {one / half:.2f} times as long (aim ≤ {AIM_OF_GROWTH})"
    )
    click.echo(f"a plan that is twice as long takes {_longer():.2f} times as long (aim ≤ {AIM_OF_GROWTH})")


def _seconds(plan: Plan, sound: Scene, faults: list[Fault], *, jobs: int) -> tuple[float, float]:
    """CPU seconds of this process and those that it made, and seconds of the wall."""
    hunting = Hunting(Hunt(plan, sound, Unattended(), jobs=jobs), faults)
    before, started = sum(os.times()[:4]), time.perf_counter()
    hunting.run()
    assert not [each for each in hunting.results if each.outcome == "failed"]
    return sum(os.times()[:4]) - before, time.perf_counter() - started


def _longer(steps: int = 200, count: int = 12) -> float:
    """Of faults that nothing in the plan notices: each run goes to its end."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "device.yaml").write_text(device_text(_SERVICES), encoding="utf-8")
        sound = sound_scene(RadioChoice("virtual", files=(folder / "device.yaml",)))
        faults = [Fault(f"nothing: {number}", "value", "Nothing.", lambda scene: scene) for number in range(count)]
        seconds = []
        for length in (steps, 2 * steps):
            (folder / "plan.yaml").write_text(plan_text(_READ * length), encoding="utf-8")
            seconds.append(_seconds(load_plan(folder / "plan.yaml", {}), sound, faults, jobs=1)[0])
    return seconds[1] / seconds[0]
