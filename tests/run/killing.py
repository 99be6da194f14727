"""Runs of a long stream, each killed when so many samples have come: python -m tests.run.killing FOLDER COUNT SEED.

One process loads everything once and forks each run from there. What the stream really gave stands in memory that both
share; it is printed as JSON, a line a run: folder, samples, those outside, when the last one came.
"""

from __future__ import annotations

import json
import mmap
import os
import random
import signal
import struct
import sys
from pathlib import Path
from typing import Any

from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.stream import RunStream
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station
from tests.run.kit import device_text, plan_text

SAMPLES = 1500
# So many more may come until the kill is there; then the run waits for it, so that it is always killed in its stream.
ROOM = 200
LIMIT = 12.0
STEPS = f"""
  - notify: temperature
    for: {SAMPLES // 10} s
    within: {SAMPLES // 10 + 5} s
    expect: {{value: {{max: {LIMIT:g} °C}}}}
"""
# 0.02 °C more with each sample: from the 400th on all are outside
DEVICE = device_text(f"""
services:
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        properties: [notify]
        value: {{ramp: {{from: 4 °C, to: 34 °C, over: {SAMPLES // 10} s}}}}
        notify: {{period: 100 ms}}
""")
TOLD = struct.Struct("qqd")


def main(folder: Path, count: int, seed: int) -> None:
    plan, device = folder / "plan.yaml", folder / "device.yaml"
    plan.write_text(plan_text(STEPS), "utf-8")
    device.write_text(DEVICE, "utf-8")
    chance = random.Random(seed)
    for number in range(count):
        told = killed(plan, device, folder / str(number), after=chance.randrange(3, SAMPLES - ROOM - 1))
        print(json.dumps(told), flush=True)


def killed(plan: Path, device: Path, results: Path, after: int) -> dict[str, Any]:
    """Start a run in a process of its own and kill it when so many samples have come."""
    shared = mmap.mmap(-1, TOLD.size)
    if not (child := os.fork()):
        run(plan, device, results, shared, after + ROOM)
        os._exit(0)
    while TOLD.unpack_from(shared)[0] < after:
        os.sched_yield()
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    samples, outside, at = TOLD.unpack_from(shared)
    [found] = results.glob("*/")
    was_killed = os.WIFSIGNALED(status)
    return {"folder": str(found), "samples": samples, "outside": outside, "at": at, "killed": was_killed}


def run(plan: Path, device: Path, results: Path, shared: mmap.mmap, most: int) -> None:
    count_into(shared, most)
    loaded, radio = load_plan(plan, {}), RadioChoice.parse(f"virtual:{device}")
    launch(RunOptions(loaded, loaded.nodes, Station("bench 1"), radio, results), Unattended())


def count_into(shared: mmap.mmap, most: int) -> None:
    """Tell what the stream is given, each time after it has been; wait for the end after the last one."""
    add = RunStream.add

    def told(stream: RunStream, value: Any, raw: bytes | None = None) -> None:
        add(stream, value, raw)
        samples, outside, _ = TOLD.unpack_from(shared)
        TOLD.pack_into(shared, 0, samples + 1, outside + (value > LIMIT), stream._clock.at)
        while samples + 1 >= most:
            signal.pause()

    RunStream.add = told  # type: ignore[method-assign]


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
