"""The small device and the plan with limits on all of it."""

from __future__ import annotations

from pathlib import Path

from benchrig.escapes.planned import limits_of
from benchrig.faults.fault import Scene
from benchrig.plan.loader import load_plan
from benchrig.radio.virtual import load_devices
from benchrig.source.problem import Problems

HERE = Path(__file__).parent


def scene_of(path: Path) -> Scene:
    """Of a sound device file."""
    problems = Problems()
    found = load_devices([path], problems)
    problems.raise_if_any()
    return Scene(tuple(found))


SMALL = scene_of(HERE / "small.yaml")
EVERYTHING = load_plan(HERE / "everything.yaml", {})
LIMITS = limits_of(EVERYTHING, SMALL.unit)
