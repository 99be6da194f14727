"""What a run on record counts for in a study, or why it counts for nothing.

It counts when it is a run of this study and of this text of the plan, when the serial number that was read over the link is
that of the unit that was asked for, and when it has each reading once. Its verdict does not matter: units beyond
their limits belong into a study.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchrig.gauge.design import Cell, Design
from benchrig.record.events import Reading
from benchrig.record.model import Record
from benchrig.values.quantity import as_float


@dataclass(frozen=True)
class Value:
    """A reading, and the limits that the plan states for it."""

    number: float
    measure: str  # its unit of measure
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Measured:
    """A measurement of the study."""

    cell: Cell
    run_id: str
    started: str
    folder: Path
    station: str
    simulated: bool
    verdict: str
    values: dict[str, Value]


@dataclass(frozen=True)
class NotCounted:
    """A run that is none, and why. `cell` where it was meant for one; `wrong_unit`: another unit was in its place."""

    folder: Path
    why: str
    cell: Cell | None = None
    wrong_unit: bool = False


class _Unfit(Exception):
    """Why a run does not count."""


class _WrongUnit(_Unfit):
    pass


def counted_for(record: Record, folder: Path, design: Design) -> Measured | NotCounted:
    """What the run is for the study."""
    try:
        cell = _cell(record, design)
    except _Unfit as why:
        return NotCounted(folder, str(why))
    try:
        _check(record, cell)
        values = {name: _value(record, name) for name in design.readings}
    except _Unfit as why:
        return NotCounted(folder, str(why), cell, isinstance(why, _WrongUnit))
    run = record.run
    return Measured(cell, run.run_id, run.started, folder, run.station, run.simulated, str(record.verdict), values)


def _cell(record: Record, design: Design) -> Cell:
    part = record.run.study
    if part is None:
        raise _Unfit("it is not a run of a gauge study")
    if part.study != design.study:
        raise _Unfit("it is a run of another gauge study")
    if record.run.plan_hash != design.plan_hash:
        raise _Unfit("the plan was another one")
    limits = record.run.limit_set
    if (limits.sha256 if limits else "") != design.limits_hash:
        raise _Unfit("the limits were those of another limit set")
    cell = Cell(part.unit, part.appraiser, part.repeat)
    if cell not in design.order:
        raise _Unfit(f"the design does not have it: {cell.words}")
    return cell


def _check(record: Record, cell: Cell) -> None:
    if record.ended is None:
        raise _Unfit("the run has not ended: it was cut off, or is under way")
    if record.run.left_out:
        raise _Unfit("the run left out steps of the plan")
    _check_unit(record, cell)
    if record.ended.verdict not in ("pass", "fail"):
        cause = (
            f"cause {record.ended.cause}: {record.ended.message}"
            if record.ended.cause
            else f"verdict {record.ended.verdict}"
        )
        raise _Unfit(f"the run ended with {cause}")


def _check_unit(record: Record, cell: Cell) -> None:
    """No other unit at any time, and none that may have taken its place since."""
    serials = sorted({seen.serial.strip() for seen in record.sightings if seen.serial.strip()})
    if not serials:
        why = f" ({record.message})" if record.verdict != "pass" else ""
        raise _Unfit(f"no serial number was read over the link: nothing shows that it is unit {cell.unit}{why}")
    if serials != [cell.unit]:
        raise _WrongUnit(f"expected unit {cell.unit}, found unit {', '.join(serials)}")
    if record.unit is None or record.unit.serial.strip() != cell.unit:
        raise _Unfit("another unit may have taken its place after its serial number was read")


def _value(record: Record, name: str) -> Value:
    found = [*readings_named(record, name)]
    if len(found) != 1:
        raise _Unfit(f"expected the reading '{name}' once, found it {len(found)} times")
    reading = found[0]
    number = number_of(reading)
    if number is None:
        raise _Unfit(f"the reading '{name}' is not a number")
    return Value(number, reading.unit, *(reading.judgement.stated if reading.judgement else (None, None)))


def readings_named(record: Record, name: str) -> Sequence[Reading]:
    """All readings 'STEP.READING' of a run; the step by its name or its number."""
    return [
        reading
        for step in record.executions
        for reading in step.readings
        if name in (f"{step.planned.name}.{reading.name}", f"{step.planned.id}.{reading.name}") and not reading.partial
    ]


def number_of(reading: Reading) -> float | None:
    """Its value; of a stream the mean."""
    number = as_float(reading.value)
    return reading.samples.mean if number is None and reading.samples is not None else number
