"""Events -> the record they add up to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from benchrig.errors import UsageError
from benchrig.record.events import (
    Added,
    AnyEvent,
    AttemptFailed,
    Closed,
    DeviceSeen,
    Noted,
    NotJudged,
    Opened,
    PlannedDevice,
    PlannedNode,
    Reading,
    RoundsLeft,
    RunEnded,
    RunStarted,
)
from benchrig.record.executions import Executions, UnfitEvent
from benchrig.record.model import Attempt, Execution, Record

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping


# The format since which a device tells its revisions, and where earlier ones have them.
_TELLS_REVISIONS = 5
_REVISIONS = {"2A26": "firmware", "2A27": "hardware"}


def build_record(events: Iterable[AnyEvent]) -> Record:
    """The record of a run, whole or as far as it got. Raises UsageError when the events are not those of one run."""
    builder = RecordBuilder()
    try:
        for event in events:
            builder.add(event)
        return builder.record()
    except UnfitEvent as exc:
        raise UsageError(f"these events are not a run: {exc}") from exc


class RecordBuilder:
    """Takes the events of one run in their order; `record()` is right after any of them but before the first."""

    def __init__(self) -> None:
        self._record: Record | None = None
        self._executions = Executions([])

    def add(self, event: AnyEvent) -> None:
        """Raises UnfitEvent for an event that cannot follow those before it."""
        if isinstance(event, RunStarted):
            self._start(event)
        else:
            self._add(self.record(), event)

    def record(self) -> Record:
        if self._record is None:
            raise UnfitEvent("a record begins with the start of a run")
        return self._record

    def _start(self, run: RunStarted) -> None:
        if self._record is not None:
            raise UnfitEvent("a second run starts inside the record of the first")
        run = msgspec.structs.replace(run, nodes=[*run.nodes], devices={**run.devices})  # it may grow
        self._executions = Executions(run.nodes)
        self._record = Record(run, self._executions.roots)

    def _add(self, record: Record, event: AnyEvent) -> None:
        match event:
            case Added():
                node = msgspec.structs.replace(event.node, children=[*event.node.children])
                self._executions.add(node)
                _grow(record.run, node, event.devices)
            case DeviceSeen():
                earlier = None if event.swapped else record.devices.get(event.device)
                record.devices[event.device] = merged(earlier, event)
                record.sightings.append(event)
            case Noted():
                (record if event.where is None else self._executions.of(event.where)).notes.append(event)
            case Opened():
                self._executions.open(event)
            case AttemptFailed():
                _attempt(self._executions.running(event.where), event.where.attempt).failed = event
            case Reading():
                execution = self._executions.running(event.where)
                _put(_attempt(execution, event.where.attempt).readings, event)
                if record.run.format < _TELLS_REVISIONS:
                    _take_revision(record.devices, execution, event)
            case NotJudged():
                self._executions.of(event.where).not_judged.append(event)
            case RoundsLeft():
                self._executions.running(event.where).left = event
            case Closed():
                self._executions.close(event)
            case RunEnded():
                record.ended = event


def _grow(run: RunStarted, node: PlannedNode, devices: Mapping[str, PlannedDevice]) -> None:
    """The head as it would have been, had all been known: what is in a step is in its node."""
    nodes = run.nodes
    for level in range(1, node.id.count(".") + 1):
        outer = ".".join(node.id.split(".")[:level])
        nodes = next(each for each in nodes if each.id == outer).children
    nodes.append(node)
    run.devices.update(devices)


def _take_revision(devices: dict[str, DeviceSeen], execution: Execution, reading: Reading) -> None:
    """Of a record that has revisions as readings alone."""
    subject = (execution.opened and execution.opened.subject) or execution.planned.subject
    name, key = _REVISIONS.get(subject.partition("[")[0].rpartition("/")[2]), execution.planned.device
    if name and key in devices and reading.name == "value" and isinstance(reading.value, str):
        devices[key] = msgspec.structs.replace(devices[key], **{name: reading.value})


def _attempt(execution: Execution, number: int) -> Attempt:
    """The attempt with this number, the last one so far."""
    if not execution.attempts or execution.attempts[-1].number < number:
        execution.attempts.append(Attempt(number))
    last = execution.attempts[-1]
    if last.number != number or last.failed:
        raise UnfitEvent(f"attempt {number} of step {execution.where.label} is over")
    return last


def _put(readings: list[Reading], reading: Reading) -> None:
    """Add a reading; what a stream said of it so far is gone with that."""
    said = next((each for each in readings if each.partial and each.name == reading.name), None)
    if said is not None:
        readings.remove(said)
    readings.append(reading)


def merged(earlier: DeviceSeen | None, later: DeviceSeen) -> DeviceSeen:
    """What is known of a device: the later event where it says something."""
    if earlier is None:
        return later
    said = {name: value for name in DeviceSeen.__struct_fields__ if (value := getattr(later, name))}
    return msgspec.structs.replace(earlier, **said)
