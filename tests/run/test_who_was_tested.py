"""What is on record of who was tested with what: firmware and hardware of the unit, the fixture of the station."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from lxml import etree
from msgspec.structs import replace
from rich.console import Console

from benchrig.errors import PlanError
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent, DeviceSeen, Fixture, Reading, RunStarted
from benchrig.record.model import Record
from benchrig.report.files.junit import junit_xml
from benchrig.report.table import render
from benchrig.station.station import Station, load_station
from tests.run.kit import device_text, plan_text, run
from tests.scratch import scratch

TOLD = {"serial number": "A-17", "firmware revision": "3.2.1", "hardware revision": "C"}
STEPS = "".join(f"  - read: {name}\n" for name in TOLD)


def unit(**others: str) -> str:
    told = {**TOLD, **{name.replace("_", " "): text for name, text in others.items()}}
    listed = ", ".join(f"{{characteristic: {name}, properties: [read], value: {text}}}" for name, text in told.items())
    return device_text(f"services: [{{service: device information, characteristics: [{listed}]}}]")


def facts(record: Record) -> dict[str, str]:
    return {
        each.get("name", ""): each.get("value", "") for each in etree.fromstring(junit_xml(record)).iter("property")
    }


def test_what_a_unit_tells_of_itself() -> None:
    record = run(plan_text(STEPS), unit()).record
    seen = record.unit
    assert seen is not None
    assert (seen.serial, seen.firmware, seen.hardware) == ("A-17", "3.2.1", "C")
    assert (facts(record)["unit:firmware"], facts(record)["unit:hardware"]) == ("3.2.1", "C")


def test_what_was_not_read_or_is_secret_is_not_told() -> None:
    assert run(plan_text("  - read: serial number\n"), unit()).record.unit.firmware == ""  # type: ignore[union-attr]
    steps = "  - read: firmware revision\n    expect: {value: {equals: '${build}'}}\n"
    head = "given: {build: {secret: true}}\n"
    ran = run(plan_text(steps, head=head), unit(firmware_revision="hush-3.2.1"), given={"build": "hush-3.2.1"})
    assert ran.record.verdict == "pass"
    assert "hush-3.2.1" not in str(ran.record)


def test_a_swapped_unit_begins_anew() -> None:
    """What the unit before it told is not held to be its own."""
    old = DeviceSeen(1, "C4:00:00:00:00:01", serial="A-17", firmware="3.2.1", hardware="C")
    record = build_record([RunStarted(5, "1", "", "p", "p", "", "s", "virtual", True, [], {}), old,
                           DeviceSeen(2, "C4:00:00:00:00:02", swapped=True)])  # fmt: skip
    assert record.unit == DeviceSeen(2, "C4:00:00:00:00:02", swapped=True)


def test_records_of_before_have_them_as_readings() -> None:
    events = run(plan_text(STEPS + "  - read: firmware revision\n    name: again\n"), unit()).events
    old: list[AnyEvent] = [
        replace(each, format=3) if isinstance(each, RunStarted) else each
        for each in events
        if not (isinstance(each, DeviceSeen) and (each.firmware or each.hardware))
    ]
    seen = build_record(old).unit
    assert seen is not None
    assert (seen.firmware, seen.hardware) == ("3.2.1", "C")
    malformed = [replace(each, value=None) if isinstance(each, Reading) else each for each in old]
    assert build_record(malformed).unit.firmware == ""  # type: ignore[union-attr]


def test_the_fixture_is_on_record() -> None:
    station = Station("line 2", fixture=_station("fixture: {name: nest 4, software: 1.3.0}\n").fixture)
    record = run(plan_text(STEPS), unit(), station=station).record
    assert record.run.fixture == Fixture("nest 4", "1.3.0")
    assert (facts(record)["fixture"], facts(record)["fixture:software"]) == ("nest 4", "1.3.0")
    screen = Console(file=io.StringIO(), width=100)
    render(record, screen)
    assert "fixture  nest 4, software 1.3.0" in screen.file.getvalue()  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("fixture: {name: ''}", "expected the name of the fixture, found nothing"),
        ("fixture: {name: nest, sofware: 1}", "unknown key 'sofware'"),
        ("fixture: nest", "expected"),
    ],
)
def test_a_wrong_fixture_is_refused(written: str, said: str) -> None:
    with pytest.raises(PlanError, match=said):
        _station(f"{written}\n")


def _station(more: str) -> Station:

    with scratch() as folder:
        file: Path = folder / "station.yaml"
        file.write_text(f"station: line 2\n{more}", encoding="utf-8")
        return load_station(file)
