"""Bad requests a minute of CPU, on the virtual radio: through the runner, with a record on disk."""

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
from tests.run.kit import device_text, plan_text
from tests.run.test_robust import CAUTION, NAMES, SERVICES, SOUND

AIM = 10_000


def whole_run(count: int) -> float:
    """CPU seconds of a run with so many requests, from the plan in memory to its reports."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plan, device = folder / "plan.yaml", folder / "device.yaml"
        step = f"  - robust: {count}\n    writes: [limit, label]\n    {SOUND}\n"
        plan.write_text(plan_text(step, attributes=NAMES, head=CAUTION), "utf-8")
        device.write_text(device_text(SERVICES, more="mtu: 517\n"), "utf-8")
        loaded = load_plan(plan, {})
        options = RunOptions(
            loaded,
            choose_steps(loaded),
            Station("bench"),
            RadioChoice("virtual", files=(device,)),
            folder,
            acknowledged=True,
        )
        started = time.process_time()
        ended = launch(options, Unattended(), []).record.ended
        assert ended is not None
        assert ended.verdict == "pass", ended.message
        return time.process_time() - started


def robust(rounds: int = 3, count: int = 2_000) -> None:
    whole_run(100)
    best = min(whole_run(count) for _ in range(rounds))
    click.echo(f"bad requests: {60 * count / best:,.0f} a minute of CPU (aim ≥ {AIM:,})")
