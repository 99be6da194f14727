"""A record as the rows of its run."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec

from benchrig.history.moments import micros
from benchrig.record.aggregate import merged
from benchrig.record.began import began
from benchrig.record.events import DeviceSeen, PlannedNode, Reading, Where
from benchrig.record.model import Record
from benchrig.report import at_line, explain, whole
from benchrig.values.judging import Judgement
from benchrig.values.quantity import as_float

# Characters of a text that is kept; the record has all of it. An index of PostgreSQL holds no more than 2704 bytes.
MOST = 600
# That a column of whole numbers can hold (32 bits).
_LARGEST = 2**31 - 1

Row = dict[str, Any]
Channel = tuple[str, str, int, str, str]
Bound = tuple[str, float | None, float | None, float | None, float | None, str]


DEVICE = ("device", "serial", "given_serial", "address", "address_type", "name", "firmware", "hardware")
STEP = ("node", "rounds", "step", "kind", "device", "verdict", "cause", "message", "attempts", "elapsed")
READING = ("value", "text", "passed", "margin", "samples", "minimum", "maximum", "mean")


@dataclass(frozen=True)
class Entry:
    """What a history keeps of one record: the columns of its row in `runs`; of the other tables the rows, in their order, with
    the columns above. Each reading names its channel and its bound by what they are."""

    run: Row
    devices: list[tuple[Any, ...]]
    steps: list[tuple[Any, ...]]
    readings: list[tuple[Channel, Bound, tuple[Any, ...]]]

    @property
    def run_id(self) -> str:
        return str(self.run["run_id"])

    @property
    def is_whole(self) -> bool:
        return bool(self.run["verdict"] != "cut off")


def entry_of(record: Record, data: bytes, folder: str) -> Entry:
    """`data` is the record as it is on disk; `folder` as the history has it."""
    devices = [*_devices(record)]
    unit = {key: value for key, value in zip(DEVICE, devices[0], strict=True) if key not in ("device", "address_type")}
    here = platform.node()
    of_file = {"digest": hashlib.sha256(data).hexdigest(), "size": len(data), "folder": folder, "kept_on": here}
    known = unit["serial"] or unit["given_serial"] or unit["address"]
    told = {name: _kept(value) for name, value in (_head(record) | _end(record) | at_line.cells(record)).items()}
    run = told | {"started": micros(began(record.run.started))} | of_file | unit | {"unit": known}
    return Entry(run, devices, [*_steps(record)], [*_readings(record)])


# --- the run


def _head(record: Record) -> Row:
    run = record.run
    study, limits, fixture = run.study, run.limit_set, run.fixture
    return {
        "run_id": run.run_id,
        "plan": run.plan,
        "revision": run.revision,
        "plan_hash": run.plan_hash,
        "limit_set": limits.name if limits else "",
        "limit_set_version": limits.version if limits else "",
        "limit_set_hash": limits.sha256 if limits else "",
        "benchrig": run.versions.get("benchrig", ""),
        "station": run.station,
        "host": run.host or platform.node(),
        "fixture": fixture.name if fixture else "",
        "fixture_version": fixture.software if fixture else "",
        "radio": run.radio,
        "simulated": run.simulated,
        "left_out": run.left_out,
        "study": study.study if study else "",
        "study_unit": study.unit if study else "",
        "study_appraiser": study.appraiser if study else "",
        "study_repeat": study.repeat if study else None,
    }


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


def _devices(record: Record) -> Iterator[tuple[Any, ...]]:
    """One row a unit: one that took the place of another has a row of its own. There is always a first."""
    given = explain.given_serial(record)
    for n, seen in enumerate(_units(record) or [DeviceSeen(0.0)]):
        names = (bounded(seen.serial), given if n == 0 else "", bounded(seen.address), bounded(seen.address_type))
        yield (bounded(seen.device), *names, bounded(seen.name), bounded(seen.firmware), bounded(seen.hardware))


def _units(record: Record) -> list[DeviceSeen]:
    """Of each device of the plan what is known of it, and before that what was known of units that another took the place of."""
    known: dict[str, list[DeviceSeen]] = {}
    for seen in record.sightings:
        of_device = known.setdefault(seen.device, [])
        if seen.swapped or not of_device:
            of_device.append(seen)
        else:
            of_device[-1] = merged(of_device[-1], seen)
    for key, latest in record.devices.items():  # which knows the revisions of older records too
        known[key][-1] = latest
    return [unit for units in known.values() for unit in units]


def bounded(text: str) -> str:
    return text[:MOST].replace("\0", "�")


def _kept(value: Any) -> Any:
    """What every database can hold: only a hand writes more into a record."""
    if isinstance(value, str):
        return bounded(value)
    return _counted(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _counted(number: int) -> int:
    return max(-_LARGEST, min(number, _LARGEST))


# --- steps


def step_name(node: PlannedNode) -> str:
    """The name of a step as the plan has it: the same in every run."""
    return node.written or node.name


def _steps(record: Record) -> Iterator[tuple[Any, ...]]:
    for step in record.executions:
        node, ended = step.planned, step.ended
        what = map(bounded, (step.where.node, _rounds(step.where), step_name(node), node.kind, node.device))
        if ended is None:
            yield (*what, explain.state(step), "", "", 0, 0.0)
        else:
            message = bounded(ended.message)
            yield (*what, explain.state(step), ended.cause or "", message, _counted(ended.attempts), ended.elapsed)


def _rounds(where: Where) -> str:
    return ".".join(map(str, where.rounds))


# --- readings


def _readings(record: Record) -> Iterator[tuple[Channel, Bound, tuple[Any, ...]]]:
    occurrences = dict(_occurrences(record.run.nodes))
    plan = bounded(record.run.plan)
    for step in record.executions:
        name, occurrence = bounded(step_name(step.planned)), occurrences.get(step.planned.id, 1)
        for reading in step.readings:
            if reading.judgement is not None:
                channel = plan, name, occurrence, bounded(reading.name), bounded(reading.unit)
                yield channel, _bound(reading.judgement), _row(reading, reading.judgement)


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


def _bound(judgement: Judgement) -> Bound:
    judged_by = as_float(judgement.low), as_float(judgement.high)
    return (bounded(judgement.limit), *judged_by, *judgement.stated, bounded(judgement.guard))


def _row(reading: Reading, judgement: Judgement) -> tuple[Any, ...]:
    samples, value = reading.samples, as_float(reading.value)
    text = None if value is not None or reading.value is None else _text(reading.value)
    judged = (value, text, judgement.passed, as_float(judgement.margin))
    if samples is None:
        return (*judged, None, None, None, None)
    return (*judged, _counted(samples.count), samples.minimum, samples.maximum, samples.mean)


def _text(value: Any) -> str:
    if isinstance(value, str):
        return bounded(value)
    return bounded(json.dumps(msgspec.to_builtins(value, enc_hook=str), ensure_ascii=False))
