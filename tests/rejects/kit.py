"""A small plan and a device whose units differ: a run takes a few milliseconds."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchrig.radio.specify import RadioChoice
from benchrig.rejects.launch import RejectOptions, rejected
from benchrig.rejects.results import Rejects, UnitRun
from benchrig.run.unattended import Unattended
from tests.run.kit import device_text, plan_text

SERVICES = """services:
  - service: device information
    characteristics:
      - {characteristic: serial number, properties: [read], value: U-0001}
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: 20 °C}
      - {characteristic: humidity, properties: [read], value: 40 %}
spread:
  values:
    - {of: serial number, text: 'U-{number}', digits: 4, label: serial}
    - {of: temperature, sd: 1 K}
    - {of: humidity, from: 30 %, to: 50 %}
"""
# One unit of 1/Φ(-1.5) is above: values are rounded to 0.01 °C.
LIMIT = 21.5
TIGHT = """  - read: temperature
    expect: {value: {max: %s °C}}
  - read: humidity
    expect: {value: {min: 20 %%, max: 60 %%}}
"""


def written(folder: Path, steps: str = TIGHT % LIMIT, *, head: str = "", services: str = SERVICES) -> Path:
    (folder / "device.yaml").write_text(device_text(services), encoding="utf-8")
    path = folder / "plan.yaml"
    path.write_text(plan_text(steps, head=head), encoding="utf-8")
    return path


def rejects(
    folder: Path,
    told: Callable[[UnitRun], object] = lambda run: None,
    *,
    air: str = "kind",
    values: Any = None,
    **how: Any,
) -> Rejects:
    """Of the plan and the device of the folder."""
    radio = RadioChoice("virtual", files=(folder / "device.yaml",), air=air)
    return rejected(
        RejectOptions(folder / "plan.yaml", radio, values or {}, **{"jobs": 1, "count": 20, **how}), Unattended(), told
    )
