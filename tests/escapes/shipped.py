"""Hunts with plans that ship."""

from __future__ import annotations

from pathlib import Path

from benchrig.escapes.launch import HuntOptions, hunted
from benchrig.escapes.results import Hunted
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.unattended import Unattended
from tests.run.kit import DEVICES, PLANS


def hunt(device: str, name: str, *faults: str, kept: Path | None = None) -> Hunted:
    """Of all faults, if none is named. With a folder of kept results a fault that is left to a plan which has been hunted
    with is not tried on that a second time."""
    plan, radio = load_plan(PLANS / f"{name}.yaml", {}), RadioChoice("virtual", files=(DEVICES / f"{device}.yaml",))
    return hunted(HuntOptions(plan, radio, lambda path: load_plan(path, {}), names=faults, cache=kept), Unattended())


def outcomes(made: Hunted, *wanted: str) -> list[str]:
    return [each.fault.name for each in made.results if each.outcome in wanted]


def wrong(made: Hunted) -> list[str]:
    """What should not be in the results with a plan that ships."""
    return [*outcomes(made, "escaped", "by luck", "blamed wrongly", "failed"), *made.stale, *made.notes]
