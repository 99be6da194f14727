"""The serial number that a run was given is on record whatever became of the unit, and told apart from the one that was
read."""

from __future__ import annotations

import csv
import io

import pytest
from lxml import etree

from benchrig.record.model import Record
from benchrig.report import explain
from benchrig.report.files.junit import junit_xml
from benchrig.report.files.readings_csv import csv_text
from tests.run.kit import device_text, plan_text, run

STEPS = "  - read: serial number\n    expect: {value: {equals: '${number}'}}\n"
HEAD = "given: {number: {}}\n"


def unit(serial: str) -> str:
    return device_text(
        "services: [{service: device information, characteristics: [{characteristic: serial number, as: utf8, "
        f"properties: [read], value: {serial}}}]}}]"
    )


def told(record: Record) -> list[tuple[str, str]]:
    """The number that was given, and the one that was read: in the CSV and in JUnit."""
    row = next(csv.DictReader(io.StringIO(csv_text(record), newline="")))
    facts = {each.get("name"): each.get("value") for each in etree.fromstring(junit_xml(record)).iter("property")}
    return [(row["given_serial"], row["serial"]), (facts["unit:given_serial"], facts.get("unit:serial", ""))]


@pytest.mark.parametrize(
    ("device", "read", "title"),
    [
        (unit("A-17"), "A-17", "A-17, unit 1, C4:00:00:00:00:01 (random)"),
        (unit("B-18"), "B-18", "B-18, unit 1, C4:00:00:00:00:01 (random), given serial number A-17"),
        (device_text(), "", "unit 1, C4:00:00:00:00:01 (random), given serial number A-17"),
        (device_text(name="another"), "", "not known, given serial number A-17"),
    ],
    ids=["sound", "another one", "silent", "absent"],
)
def test_every_report_has_both(device: str, read: str, title: str) -> None:
    record = run(plan_text(STEPS, head=HEAD), device, given={"number": "A-17"}).record
    assert told(record) == [("A-17", read)] * 2
    assert explain.unit_title(record) == title


@pytest.mark.parametrize(
    ("steps", "head", "given", "found"),
    [
        ("  - wait: 1 s\n    name: '${serial}'\n", "given: {serial: {}}\n", {"serial": "A-17"}, "A-17"),
        (STEPS, HEAD.replace("number: {}", "number: {secret: true}"), {"number": "A-17-secret"}, ""),
        (STEPS.replace("${number}", "A-17"), "", {}, ""),
        (STEPS.replace("serial number", "model number"), HEAD.replace("{}", "{default: A-17}"), {}, ""),
    ],
    ids=["by its name", "secret", "of the plan itself", "of something else"],
)
def test_which_value_it_is(steps: str, head: str, given: dict[str, str], found: str) -> None:
    assert run(plan_text(steps, head=head), given=given).record.run.given_serial == found
