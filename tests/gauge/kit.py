"""A study of a thermometer: its plan, its device, records of runs that never were."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from benchrig.gauge.design import RUNS, Cell, Design, load_design
from benchrig.record.journal import RECORD
from tests.cli.kit import here
from tests.run.kit import device_text, plan_text

READING = "read temperature.value"
STEPS = """  - read: serial number
  - read: temperature
    expect: {value: {min: -10 °C, max: 90 °C}}
  - disconnect:
"""
SERVICES = """services:
  - service: device information
    characteristics:
      - {characteristic: serial number, properties: [read], value: %s}
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: %s}
"""
SPREAD = """spread:
  values:
    - {of: serial number, text: 'T{number}', digits: 3}
    - {of: temperature, sd: 1 °C}
"""
NOISE = "{noise: {mean: 21.5 °C, sd: 0.05 °C}}"
RADIO = ("--radio", "virtual:device.yaml")
# When the first of the runs that never were began.
DAY = "2026-11-27T08:"


def bench(folder: Path, *, steps: str = STEPS, value: str = NOISE, serial: str = "T000", spread: str = SPREAD) -> None:
    """A folder with plan.yaml and device.yaml."""
    (folder / "plan.yaml").write_text(plan_text(steps), encoding="utf-8")
    device = device_text(SERVICES % (serial, value) + spread)
    (folder / "device.yaml").write_text(device, encoding="utf-8")


def gauge(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return here("gauge", *words, cwd=folder)


def begun(
    folder: Path, *words: str, units: str = "T001,T002", appraisers: str = "Anna,Ben", repeats: int = 2
) -> Design:
    """The design of a new study in `folder/study`."""
    done = gauge(
        folder,
        "begin",
        "study",
        "plan.yaml",
        "--units",
        units,
        "--appraisers",
        appraisers,
        "--repeats",
        str(repeats),
        *words,
    )
    assert done.returncode == 0, done.stderr
    return load_design(folder / "study")


def forged(folder: Path, design: Design, cells: Iterable[tuple[Cell, float]], **head: Any) -> list[Path]:
    """The records of runs of a study, with these values; each began a second after the one before."""
    return [_forged(folder, design, cell, value, number, head) for number, (cell, value) in enumerate(cells)]


def _forged(folder: Path, design: Design, cell: Cell, value: float, number: int, head: dict[str, Any]) -> Path:
    run = folder / RUNS / f"run-{number:04d}"
    run.mkdir(parents=True)
    lines = lines_of(design, cell, value, number)
    lines[0] |= head
    write(run, lines)
    return run


def write(run: Path, lines: Sequence[dict[str, Any]]) -> None:
    (run / RECORD).write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")


def lines_of(design: Design, cell: Cell, value: float, number: int = 0) -> list[dict[str, Any]]:
    where, second = {"node": "1"}, {"node": "2"}
    nodes = [
        {"id": "1", "name": "read serial number", "kind": "read", "place": "plan.yaml:5", "subject": "2A25"},
        {"id": "2", "name": "read temperature", "kind": "read", "place": "plan.yaml:6", "limits": ["value"]},
    ]
    judgement = {"passed": True, "limit": "min -10 °C and max 90 °C", "sentence": "", "low": -10, "high": 90}
    return [
        {
            "event": "run", "format": 5, "run_id": f"{cell.unit}-{cell.appraiser}-{cell.repeat}",
            "started": f"{DAY}{number // 60:02d}:{number % 60:02d}.000Z", "plan": "a plan", "plan_file": "plan.yaml",
            "plan_hash": design.plan_hash, "station": "line 1", "radio": "host", "simulated": False, "nodes": nodes,
            "versions": {}, "study": {"study": design.study, **cell._asdict()},
        },
        {"event": "opened", "where": where, "at": 0.0},
        {"event": "device", "at": 0.0, "address": "C4:00:00:00:00:01", "serial": cell.unit, "where": where},
        {"event": "closed", "where": where, "at": 0.0, "elapsed": 0.0, "verdict": "pass"},
        {"event": "opened", "where": second, "at": 0.0},
        {"event": "reading", "where": second, "at": 0.0, "name": "value", "value": value, "unit": "°C", "judgement": judgement},
        {"event": "closed", "where": second, "at": 0.0, "elapsed": 0.0, "verdict": "pass"},
        {"event": "verdict", "at": 0.0, "verdict": "pass", "exit_code": 0, "judged": 1, "planned": 1},
    ]  # fmt: skip
