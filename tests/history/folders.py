"""Folders of runs to fill a history with: records made by hand, like those that a line writes."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

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
from benchrig.record.line_part import LinePart
from benchrig.values.judging import Judgement

BEGIN = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)


def end_of_line(
    number: int = 1, *, values: Sequence[float] = (5.0, 6.0, 7.0), high: float = 8.0, station: str = "line 1"
) -> list[AnyEvent]:
    """The events of a run with one reading of each of these values, in °C, each with the limit `high`."""
    named = {f"read sensor {n}": value for n, value in enumerate(values, 1)}
    return measured(number, named, high=high, station=station)


def measured(
    number: int, values: Mapping[str, float], *, low: float | None = None, high: float, measure: str = "°C",
    plan: str = "sensors", station: str = "line 1",
) -> list[AnyEvent]:  # fmt: skip
    """The events of a run of a unit of its own, with a step for each value; its limits decide."""
    nodes = [PlannedNode(str(n), name, "read", f"plan.yaml:{n}", limits=["value"]) for n, name in enumerate(values, 1)]
    started = (BEGIN + timedelta(minutes=number)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    run_id = hashlib.sha256(str(number).encode()).hexdigest()[:32]
    head = RunStarted(
        FORMAT, run_id, started, plan, "plan.yaml", "0" * 64, station, "host", False, nodes, {"benchrig": "0.7.0"}
    )
    address = f"C4:1F:5A:{number >> 16 & 255:02X}:{number >> 8 & 255:02X}:{number & 255:02X}"
    seen = DeviceSeen(0.1, address, "random", serial=f"VF-{number:06}")
    judged = [_judged(n, value, low, high, measure) for n, value in enumerate(values.values(), 1)]
    steps = [event for n, each in enumerate(values.values(), 1) for event in _step(n, each, measure, judged[n - 1])]
    failed = next((n for n, each in enumerate(judged, 1) if not each.passed), None)
    if failed is None:
        ended = RunEnded(9.0, "pass", 0, len(values), planned=len(values))
    else:
        ended = RunEnded(
            9.0, "fail", 1, len(values), "limit", Where(str(failed)), "beyond its limit", planned=len(values)
        )
    return [head, seen, *steps, ended]


def at_line(events: list[AnyEvent], **said: Any) -> list[AnyEvent]:
    """The same run at a line, in slot 1 unless it is `said` otherwise."""
    head, *rest = events
    told: dict[str, Any] = {"shift": "s1", "person": "Anna", "product": "logger", "slot": "1", "proof": "only slot"}
    return [msgspec.structs.replace(head, line=LinePart(**(told | said))), *rest]


def _judged(n: int, value: float, low: float | None, high: float, measure: str) -> Judgement:
    limit = f"max {high:g} {measure}" if low is None else f"min {low:g} {measure} and max {high:g} {measure}"
    margin = high - value if low is None else min(value - low, high - value)
    return Judgement(margin >= 0, limit, f"{value:g} {measure}", low, high, margin, f"plan.yaml:{n}")


def _step(n: int, value: float, measure: str, judgement: Judgement) -> list[AnyEvent]:
    where = Where(str(n))
    ended = (
        Closed(where, n, 0.5, "pass")
        if judgement.passed
        else Closed(where, n, 0.5, "fail", "limit", "beyond its limit")
    )
    return [Opened(where, n - 0.5), Reading(where, n, "value", value, measure, judgement=judgement), ended]


def write(folder: Path, events: Sequence[AnyEvent]) -> Path:
    folder.mkdir(parents=True)
    (folder / "record.jsonl").write_bytes(msgspec.json.Encoder().encode_lines([*events]))
    return folder
