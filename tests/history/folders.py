"""Folders of runs to fill a history with: records made by hand, like those that a line writes."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec

from benchrig.record.events import (
    FORMAT,
    AnyEvent,
    Closed,
    DeviceSeen,
    Opened,
    PlannedNode,
    Reading,
    RunEnded,
    RunStarted,
    Where,
)
from benchrig.values.judging import Judgement

BEGIN = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)


def end_of_line(
    number: int = 1, *, values: Sequence[float] = (5.0, 6.0, 7.0), high: float = 8.0, station: str = "line 1"
) -> list[AnyEvent]:
    """The events of a run with one reading of each of these values, in °C, each with the limit `high`."""
    names = [f"read sensor {n}" for n in range(1, len(values) + 1)]
    nodes = [PlannedNode(str(n), name, "read", f"plan.yaml:{n}", limits=["value"]) for n, name in enumerate(names, 1)]
    started = (BEGIN + timedelta(minutes=number)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    run_id = hashlib.sha256(str(number).encode()).hexdigest()[:32]
    head = RunStarted(
        FORMAT, run_id, started, "sensors", "plan.yaml", "0" * 64, station, "host", False, nodes, {"benchrig": "0.7.0"}
    )
    seen = DeviceSeen(
        0.1,
        f"C4:1F:5A:{number >> 16 & 255:02X}:{number >> 8 & 255:02X}:{number & 255:02X}",
        "random",
        serial=f"VF-{number:06}",
    )
    steps = [event for n, value in enumerate(values, 1) for event in _step(n, value, high)]
    failed = next((n for n, value in enumerate(values, 1) if value > high), None)
    if failed is None:
        ended = RunEnded(9.0, "pass", 0, len(values), planned=len(values))
    else:
        ended = RunEnded(9.0, "fail", 1, len(values), "limit", Where(str(failed)), "too warm", planned=len(values))
    return [head, seen, *steps, ended]


def _step(n: int, value: float, high: float) -> list[AnyEvent]:
    where, passed = Where(str(n)), value <= high
    limit = f"max {high:g} °C"
    judgement = Judgement(passed, limit, f"{value:g} °C", None, high, high - value, f"plan.yaml:{n}")
    closed = Closed(where, n, 0.5, "pass") if passed else Closed(where, n, 0.5, "fail", "limit", "too warm")
    return [Opened(where, n - 0.5), Reading(where, n, "value", value, "°C", judgement=judgement), closed]


def write(folder: Path, events: Sequence[AnyEvent]) -> Path:
    folder.mkdir(parents=True)
    (folder / "record.jsonl").write_bytes(msgspec.json.Encoder().encode_lines([*events]))
    return folder
