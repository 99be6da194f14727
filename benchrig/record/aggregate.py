"""Events -> the record they add up to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from benchrig.errors import UsageError
from benchrig.record.model import (
    AnyEvent,
    AttemptFailed,
    Noted,
    NotJudged,
    Reading,
    Record,
    RunEnded,
    RunStarted,
    StepEnded,
    StepRecord,
    StepStarted,
    UnitSeen,
)

if TYPE_CHECKING:
    from collections.abc import Iterable


class UnfitEvent(Exception):
    """An event that cannot stand where it does."""


def build_record(events: Iterable[AnyEvent]) -> Record:
    """The record of a run, whole or as far as it got. Raises UsageError when the events are not those of one run."""
    builder = RecordBuilder()
    try:
        for event in events:
            builder.add(event)
        return builder.record()
    except UnfitEvent as exc:
        raise UsageError(f"these events are no run: {exc}") from exc


class RecordBuilder:
    """Takes the events of one run in their order; `record()` is right after any of them but before the first."""

    def __init__(self) -> None:
        self._record: Record | None = None
        self._steps: dict[int, StepRecord] = {}

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
        self._record = Record(run, [StepRecord(planned) for planned in run.steps])
        self._steps = {step.planned.number: step for step in self._record.steps}

    def _add(self, record: Record, event: AnyEvent) -> None:
        match event:
            case UnitSeen():
                record.unit = event if event.swapped else _merged(record.unit, event)
                record.sightings.append(event)
            case StepStarted():
                self._start_step(self._step(event.step), event)
            case Noted():
                (record if event.step is None else self._step(event.step)).notes.append(event)
            case AttemptFailed():
                self._step(event.step).attempts.append(event)
                self._step(event.step).readings.clear()  # those of the attempt that counts follow
            case Reading():
                _put(self._step(event.step).readings, event)
            case NotJudged():
                self._step(event.step).not_judged.append(event)
            case StepEnded():
                self._step(event.step).ended = event
            case RunEnded():
                record.ended = event

    @staticmethod
    def _start_step(step: StepRecord, event: StepStarted) -> None:
        step.started_at = event.at
        if event.name:
            step.planned = msgspec.structs.replace(step.planned, name=event.name)

    def _step(self, number: int) -> StepRecord:
        step = self._steps.get(number)
        if step is None:
            raise UnfitEvent(f"the plan of this run has no step {number}")
        return step


def _put(readings: list[Reading], reading: Reading) -> None:
    """Add a reading; what a stream said of it so far is gone with that."""
    said = next((each for each in readings if each.partial and each.name == reading.name), None)
    if said is not None:
        readings.remove(said)
    readings.append(reading)


def _merged(earlier: UnitSeen | None, later: UnitSeen) -> UnitSeen:
    """What is known of the unit: the later event where it says something."""
    if earlier is None:
        return later
    said = {name: value for name in UnitSeen.__struct_fields__ if (value := getattr(later, name))}
    return msgspec.structs.replace(earlier, **said)
