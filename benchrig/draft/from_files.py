"""Evidence from files: inspections that were saved, and records of runs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from benchrig.desk.inspection import Inspection
from benchrig.desk.inspection_file import load_inspection
from benchrig.desk.paths import attributes_in
from benchrig.draft.evidence import Evidence, KnownUnit, ReadByName, Snapshot, StreamSeen
from benchrig.errors import UsageError
from benchrig.record.journal import read_record
from benchrig.record.model import Execution, Record
from benchrig.record.purposes import OF_THE_STATION
from benchrig.record.secrets import without_hidden
from benchrig.source.shape import Misfit
from benchrig.study.tolerance import Group
from benchrig.values.catalogue import normal_uuid

# A pass of these shows a station that finds nothing, or that a unit was put in order.
_NOT_OF_A_GOOD_UNIT = ("known bad", "clean-up")
_ADVICE = "give a file that 'benchrig inspect --save' wrote"


def evidence_from(paths: Iterable[Path]) -> Evidence:
    """Raises UsageError for a file that is neither an inspection nor a record."""
    evidence = Evidence()
    for path in paths:
        if path.suffix.lower() == ".jsonl":
            add_record(evidence, _passed(read_record(path), path), path.parent.name or path.name)
        else:
            add_inspection(evidence, sound_inspection(path), path.name)
    return evidence


def _passed(record: Record, path: Path) -> Record:
    """See that the unit was a good one. UsageError."""
    if record.ended is None or record.ended.verdict != "pass":
        how = "was cut off" if record.ended is None else f"ended with {record.ended.verdict}"
        raise UsageError(f"'{path}' is the record of a run that {how}: its unit is not known to be good",
                         advice="give records of runs that passed")  # fmt: skip
    if record.run.line is not None and record.run.line.purpose in _NOT_OF_A_GOOD_UNIT:
        what = OF_THE_STATION[record.run.line.purpose]
        raise UsageError(f"'{path}' is the record of a {what} at a line: its unit is not known to be good",
                         advice="give records of units that were tested and passed")  # fmt: skip
    return record


def sound_inspection(path: Path) -> Inspection:
    """A saved inspection, with its findings or alone."""
    seen = load_inspection(path)
    try:
        _check(seen)
    except (Misfit, ValueError) as error:
        raise UsageError(f"'{path}' is not an inspection: {error}", advice=_ADVICE) from error
    return seen


def _check(seen: Inspection) -> None:
    """See that what should be a UUID or bytes is: people edit files. Misfit, ValueError."""
    contents = []
    for place, attribute in attributes_in(seen.services):
        for uuid in (place.service, place.uuid):
            if normal_uuid(uuid) != uuid:
                raise ValueError(f"'{uuid}' is not written in full and in small letters")
        contents.append(attribute.content)
    for uuid in (*seen.advertising.services, *seen.advertising.service_data):
        normal_uuid(uuid)
    for content in contents:
        bytes.fromhex(content.raw if content else "")
    for company, data in seen.advertising.manufacturer_data.items():
        if len(bytes.fromhex(company)) != 2:
            raise ValueError(f"'{company}' is not a company identifier")
        bytes.fromhex(data)


def add_inspection(evidence: Evidence, seen: Inspection, name: str) -> None:
    if seen.broken:
        evidence.doubts.append(f"inspection {name} is not whole: {seen.broken}")
    took, payload = seen.timing.connect, seen.payload
    look = Snapshot(
        seen.address, seen.services, seen.advertising, took, payload=payload, address_type=seen.address_type,
        source=f"inspection {name}",
    )  # fmt: skip
    evidence.looks.append(look)
    evidence.met.append(KnownUnit(seen.address, seen.advertising.name, seen.address))
    evidence.sources.append(f"inspection {name} of {seen.advertising.name or seen.address}, {seen.at[:10]}")
    evidence.simulated = evidence.simulated or seen.simulated
    evidence.hides = evidence.hides or not seen.whole_table


def add_record(evidence: Evidence, record: Record, name: str, device: str | None = None) -> None:
    """`device` is the key of the only device that counts; None for all of them."""
    record = without_hidden(record)
    unit = (record.unit.address or record.unit.serial) if record.unit else name
    for step in record.steps:
        kind, attribute = step.planned.kind, step.planned.subject
        if device is not None and step.planned.device not in ("", device):
            continue
        if kind == "read" and attribute:
            evidence.reads += _reads(step, unit, attribute)
        elif kind == "notify" and attribute:
            evidence.heard += _streams(step, unit, attribute, f"record {name}, step {step.where.label}")
    if record.unit:
        evidence.met.append(KnownUnit(unit, record.unit.name, record.unit.address))
    evidence.sources.append(f"record {name}, {record.run.started[:10]}")
    evidence.simulated = evidence.simulated or record.run.simulated


def _reads(step: Execution, unit: str, attribute: str) -> Iterator[ReadByName]:
    """The bytes of one read; each field of a structure repeats them."""
    for reading in step.readings:
        if reading.name == "att_error" and reading.value != "none":
            yield ReadByName(unit, attribute, None, str(reading.value))
        elif reading.name.partition(".")[0] in ("value", "raw") and reading.raw is not None:
            yield ReadByName(unit, attribute, bytes.fromhex(reading.raw))
            return


def _streams(step: Execution, unit: str, attribute: str, source: str) -> Iterator[StreamSeen]:
    """What a record keeps of a stream: statistics, of numbers only."""
    numbers = {r.name: r.value for r in step.readings if isinstance(r.value, (int, float))}
    count = int(numbers.get("count", 0))
    fields = {r.name: group for r in step.readings if r.samples and (group := Group.summed(r.samples))}
    rate = numbers.get("rate")
    seconds = step.ended.elapsed if step.ended else 0.0
    gaps = None
    if rate and count > 1:
        mean = 1 / rate
        gaps = Group(count - 1, mean, 0.0, mean, max(mean, numbers.get("gap_max", mean)))
    yield StreamSeen(
        attribute,
        unit,
        seconds,
        count,
        rate or None,
        gaps,
        fields=fields,
        lost=int(numbers.get("lost", 0)),
        source=source,
    )
