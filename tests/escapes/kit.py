"""A small plan and device to hunt with: a trial takes a few milliseconds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from benchrig.errors import Cause
from benchrig.escapes.hunting import Hunt, Hunting
from benchrig.escapes.results import Result
from benchrig.faults.fault import Family, Fault, Scene, on_unit
from benchrig.faults.mutation import Change, Mutation, dropped, replaced
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.radio.virtual import load_devices
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Problems
from tests.run.kit import device_text, plan_text

SERVICES = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read, write], value: 21.5 °C}
      - {characteristic: humidity, properties: [read], value: 40 %}
      - {characteristic: pressure, properties: [read], value: 101325 Pa}
"""
STEPS = """  - read: temperature
    expect: {value: {min: 20 °C, max: 25 °C}}
  - read: humidity
    expect: {value: {max: 60 %}, elapsed: {max: 1 s}}
"""
SENSING = "environmental sensing"


def written(folder: Path, steps: str = STEPS) -> Path:
    """The folder has plan.yaml and device.yaml then."""
    (folder / "device.yaml").write_text(device_text(SERVICES), encoding="utf-8")
    path = folder / "plan.yaml"
    path.write_text(plan_text(steps), encoding="utf-8")
    return path


def plan_of(folder: Path, steps: str = STEPS) -> Plan:
    return load_plan(written(folder, steps), {})


def sound(folder: Path) -> Scene:
    problems = Problems()
    devices = load_devices([folder / "device.yaml"], problems)
    problems.raise_if_any()
    return Scene(tuple(devices))


def fault(name: str, path: str, change: Change, *, family: Family = "value", causes: Sequence[Cause] = ("device", "limit"),
          **more: Any) -> Fault:  # fmt: skip
    return Fault(name, family, f"{name}.", on_unit(Mutation(name, path, change)), causes=frozenset(causes), **more)


HOT = fault("temperature: 30 °C", f"{SENSING}/temperature", replaced(value="30 °C"), weight="grave")
WET = fault("humidity: 70 %", f"{SENSING}/humidity", replaced(value="70 %"))
GONE = fault("humidity: missing", f"{SENSING}/humidity", dropped, family="table")
NO_SENSING = fault("environmental sensing: missing", SENSING, dropped, family="table")
LOW = fault("pressure: 900 hPa", f"{SENSING}/pressure", replaced(value="90000 Pa"), weight="minor")
FOREIGN = fault("a radio: slow", f"{SENSING}/pressure", replaced(value="90000 Pa"), family="bench", causes=("station",))
NOTHING = fault("battery: missing", "battery service", dropped, family="table")
SHAMED = replace(HOT, name="temperature: someone else's", causes=frozenset({"link"}))
ALL = (LOW, HOT, WET, GONE, NO_SENSING, FOREIGN, NOTHING, SHAMED)


@cache
def imported() -> None:
    """What a run imports as it goes; the processes of a hunt would do so one by one."""
    with TemporaryDirectory() as folder:
        Hunt(plan_of(Path(folder)), sound(Path(folder)), Unattended()).prove()


def hunt(folder: Path, plan: Plan | None = None, **how: Any) -> Hunt:
    imported()
    return Hunt(plan or plan_of(folder), sound(folder), Unattended(), **{"jobs": 1, **how})


def results(folder: Path, faults: Sequence[Fault] = ALL, **how: Any) -> list[Result]:
    return Hunting(hunt(folder, **how), faults).run()
