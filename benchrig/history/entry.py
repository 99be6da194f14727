"""A record as the rows of its run."""

from __future__ import annotations

import hashlib
import json
import math
import platform
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import msgspec

from benchrig.errors import UsageError
from benchrig.record.events import DeviceSeen, PlannedNode, Reading, Where
from benchrig.record.model import Execution, Record
from benchrig.report import explain, whole

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# Characters of a text that is kept; the record has all of it.
MOST = 1000

Row = dict[str, Any]
Channel = tuple[str, str, int, str, str]
Bound = tuple[str, float | None, float | None, float | None, float | None, str]


@dataclass(frozen=True)
class Entry:
    """What a history keeps of one record. Each reading names its channel and its bound by what they are."""

    run: Row
    devices: list[Row]
    steps: list[Row]
    readings: list[tuple[Channel, Bound, Row]]

    @property
    def run_id(self) -> str:
        return str(self.run["run_id"])

    @property
    def is_whole(self) -> bool:
        return bool(self.run["verdict"] != "cut off")


def entry_of(record: Record, data: bytes, folder: str) -> Entry:
    """`data` is the record as it is on disk; `folder` as the history has it."""
    devices = [*_devices(record)]
    unit = {key: devices[0][key] for key in ("serial", "given_serial", "address", "name", "firmware", "hardware")}
    of_file = {"digest": hashlib.sha256(data).hexdigest(), "size": len(data), "folder": folder, "host": platform.node()}
    known = unit["serial"] or unit["given_serial"] or unit["address"]
    run = _head(record) | _end(record) | of_file | unit | {"unit": known}
    return Entry(run, devices, [*_steps(record)], [*_readings(record)])


# --- the run


def _head(record: Record) -> Row:
    run = record.run
    study, limits, fixture = run.study, getattr(run, "limit_set", None), getattr(run, "fixture", None)
    return {
        "run_id": run.run_id,
        "started": started_of(run.started),
        "plan": run.plan,
        "revision": run.revision,
        "plan_hash": run.plan_hash,
        "limit_set": limits.name if limits else "",
        "limit_set_version": limits.version if limits else "",
        "limit_set_hash": limits.sha256 if limits else "",
        "benchrig": run.versions.get("benchrig", ""),
        "station": run.station,
        "fixture": fixture.name if fixture else "",
        "fixture_version": fixture.version if fixture else "",
        "radio": run.radio,
        "simulated": run.simulated,
        "left_out": run.left_out,
        "study": study.study if study else "",
        "study_unit": study.unit if study else "",
        "study_appraiser": study.appraiser if study else "",
        "study_repeat": study.repeat if study else None,
    }


def started_of(text: str) -> int:
    """Microseconds since 1970, UTC. UsageError."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise UsageError(f"expected a date and a time as the start of the run, found '{text[:40]}'") from error
    moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    return (moment - _EPOCH) // _MICROSECOND


_MICROSECOND = datetime(1970, 1, 1, 0, 0, 0, 1) - datetime(1970, 1, 1)


def _end(record: Record) -> Row:
    ended = record.ended
    executions = record.executions
    root = next((each for each in executions if ended and each.where == ended.root), None)
    failed = explain.failed_readings(root) if root else []
    return {
        "duration": whole.duration(record),
        "verdict": explain.outcome(record),
        "cause": (ended.cause or "") if ended else "",
        "exit_code": ended.exit_code if ended else None,
        "root_step": step_name(root.planned) if root else "",
        "root_reading": failed[0].name if failed else "",
        "message": whole.reason(record)[:MOST],
        "planned": ended.planned if ended else 0,
        "judged": ended.judged if ended else 0,
        "retries": sum(len(each.retries) for each in executions),
        "rounds_left": sum(each.left.rounds for each in executions if each.left),
    }


# --- devices


def _devices(record: Record) -> Iterator[Row]:
    """One row a unit: one that took the place of another has a row of its own. There is always a first."""
    given, known = explain.given_serial(record), _units(record) or [DeviceSeen(0.0)]
    for n, seen in enumerate(known):
        yield {
            "n": n,
            "device": seen.device,
            "serial": _bounded(seen.serial),
            "given_serial": given if n == 0 else "",
            "address": seen.address,
            "address_type": seen.address_type,
            "name": _bounded(seen.name),
            "firmware": "",
            "hardware": "",
        }


def _units(record: Record) -> list[DeviceSeen]:
    return [*record.devices.values()]


def _bounded(text: str) -> str:
    return text[:MOST].replace("\0", "�")


# --- steps


def step_name(node: PlannedNode) -> str:
    """The name of a step as the plan has it: the same in every run."""
    return node.written or node.name


def _steps(record: Record) -> Iterator[Row]:
    for n, step in enumerate(record.executions):
        ended = step.ended
        yield {
            "n": n,
            "node": step.where.node,
            "rounds": _rounds(step.where),
            "step": _bounded(step_name(step.planned)),
            "kind": step.planned.kind,
            "device": step.planned.device,
            "verdict": explain.state(step),
            "cause": (ended.cause or "") if ended else "",
            "message": _bounded(ended.message) if ended else "",
            "attempts": ended.attempts if ended else 0,
            "elapsed": ended.elapsed if ended else 0.0,
        }


def _rounds(where: Where) -> str:
    return ".".join(map(str, where.rounds))


# --- readings


def _readings(record: Record) -> Iterator[tuple[Channel, Bound, Row]]:
    occurrences = dict(_occurrences(record.run.nodes))
    n = 0
    for step in record.executions:
        for reading in step.readings:
            if reading.judgement is not None:
                yield _channel(record, step, occurrences, reading), _bound(reading), _row(reading) | {"n": n}
                n += 1


def _occurrences(nodes: Sequence[PlannedNode]) -> Iterator[tuple[str, int]]:
    """By the id of a step: of those of its name, which it is."""
    count: dict[str, int] = {}
    for node in _all(nodes):
        name = step_name(node)
        count[name] = count.get(name, 0) + 1
        yield node.id, count[name]


def _all(nodes: Sequence[PlannedNode]) -> Iterator[PlannedNode]:
    for node in nodes:
        yield node
        yield from _all(node.children)


def _channel(record: Record, step: Execution, occurrences: dict[str, int], reading: Reading) -> Channel:
    node = step.planned
    return record.run.plan, _bounded(step_name(node)), occurrences.get(node.id, 1), reading.name, reading.unit


def _bound(reading: Reading) -> Bound:
    judgement = reading.judgement
    assert judgement is not None
    low, high = _number(judgement.low), _number(judgement.high)
    stated = (_number(getattr(judgement, each, None)) for each in ("stated_low", "stated_high"))
    stated_low, stated_high = stated
    guard = str(getattr(judgement, "guard", "") or "")
    return (
        _bounded(judgement.limit),
        low,
        high,
        low if stated_low is None else stated_low,
        high if stated_high is None else stated_high,
        guard,
    )


def _row(reading: Reading) -> Row:
    judgement, samples = reading.judgement, reading.samples
    assert judgement is not None
    value = _number(reading.value)
    return {
        "value": value,
        "text": None if value is not None or reading.value is None else _text(reading.value),
        "passed": judgement.passed,
        "margin": _number(judgement.margin),
        "samples": samples.count if samples else None,
        "minimum": samples.minimum if samples else None,
        "maximum": samples.maximum if samples else None,
        "mean": samples.mean if samples else None,
    }


def _number(value: Any) -> float | None:
    """As a finite number; None for what is none."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _text(value: Any) -> str:
    if isinstance(value, str):
        return _bounded(value)
    return _bounded(json.dumps(msgspec.to_builtins(value, enc_hook=str), ensure_ascii=False))
