"""A soak in a process of its own, for what it takes: `python -m tests.run.soak FOLDER ROUNDS [all]` prints one line of JSON.
With `all` every round stays on record."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.record import rounds
from benchrig.record.events import AnyEvent, Opened
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station
from tests.run.kit import device_text, plan_text

DEVICE = device_text(
    "services:\n  - service: battery service\n    characteristics:\n      - {characteristic: battery level, "
    "properties: [read], value: {noise: {mean: 60 %, sd: 10 %}}}"
)
STEPS = """
  - repeat: ROUNDS
    name: soak
    steps:
      - {read: battery level, name: level, expect: {value: {min: 30 %}}}
      - {wait: 100 ms, name: rest}
    expect: {level.value: {min: 0 %}, level.value.p95: {max: 95 %}, level.elapsed: {max: 1 s}, failed: {max: 99999}}
"""
# Rounds between two looks at the memory.
LOOK = 10_000


def main(folder: Path, count: int, *, whole: bool) -> None:
    if whole:
        rounds.FIRST = count
    (folder / "plan.yaml").write_text(plan_text(STEPS.replace("ROUNDS", str(count))), encoding="utf-8")
    (folder / "unit.yaml").write_text(DEVICE, encoding="utf-8")
    plan = load_plan(folder / "plan.yaml", {})
    radio = RadioChoice.parse(f"virtual:{folder / 'unit.yaml'}")
    memory = Memory()
    finished = launch(
        RunOptions(plan, plan.nodes, Station("bench 1"), radio, folder / "results", seed=5), Unattended(), [memory]
    )
    ended = finished.record.ended
    assert ended is not None
    print(json.dumps({"folder": str(finished.folder), "code": ended.exit_code, "kilobytes": memory.seen}))


def resident() -> int:
    """Kilobytes (proc(5), statm)."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") // 1024


class Memory:
    """What the process has in memory at the begin of every so many rounds."""

    def __init__(self) -> None:
        self.seen: list[int] = []

    def __call__(self, event: AnyEvent) -> None:
        where = event.where if isinstance(event, Opened) else None
        if where is not None and where.node.endswith(".1") and where.rounds and where.rounds[0] % LOOK == 1:
            self.seen.append(resident())


if __name__ == "__main__":
    arguments: list[Any] = sys.argv[1:]
    main(Path(arguments[0]), int(arguments[1]), whole="all" in arguments)
