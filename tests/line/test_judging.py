"""The word of a run: never PASS for a record that is not on the disk, or not of the unit of the label."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import msgspec
import pytest

from benchrig.errors import StationError
from benchrig.launch import Finished
from benchrig.line.judging import ending, on_disk
from benchrig.line.proof import Absent, Expected, Outcome, Proven, Unconfirmed, WrongLabel
from benchrig.record.model import Record
from tests.line.units import Unit, plan_text
from tests.run.kit import run

UNIT = Unit(42)
LABEL = Expected("VFL3-000042", serial="VFL3-000042")
PROVEN = Proven(UNIT.at, UNIT.serial)


@cache
def passed() -> Record:
    record = run(plan_text(), UNIT.text, given={"serial": UNIT.serial}).record
    assert record.verdict == "pass"
    return record


def word(record: Record, outcome: Outcome = PROVEN, expected: Expected = LABEL, *troubles: StationError) -> str:
    return ending(Finished(record, Path("f"), troubles), record, outcome, expected).word


def test_a_pass_of_the_proven_unit_is_one() -> None:
    assert word(passed()) == "PASS"


@pytest.mark.parametrize(
    ("outcome", "expected"),
    [
        (replace(PROVEN, address="C4:1F:5A:00:00:99"), LABEL),
        (PROVEN, replace(LABEL, serial="VFL3-000043")),
        (WrongLabel(UNIT.at, "VFL3-000077", why="another"), LABEL),
        (Absent("nothing heard"), LABEL),
        (Unconfirmed(UNIT.at, why="told nothing"), replace(LABEL, serial="")),
    ],
)
def test_a_pass_of_another_unit_is_none(outcome: Outcome, expected: Expected) -> None:
    assert word(passed(), outcome, expected) == "STOP"


def test_a_pass_whose_reports_are_missing_is_none() -> None:
    assert word(passed(), PROVEN, LABEL, StationError("no room")) == "STOP"


def test_a_pass_without_a_record_on_the_disk_is_none(tmp_path: Path) -> None:
    finished = Finished(passed(), tmp_path)
    found = on_disk(finished)
    assert isinstance(found, str)
    assert ending(finished, found, PROVEN, LABEL).word == "STOP"


def test_a_pass_of_a_part_of_the_plan_is_none() -> None:
    part = msgspec.structs.replace(passed(), run=msgspec.structs.replace(passed().run, left_out=1))
    assert word(part) == "STOP"


def test_a_run_that_was_cut_off_is_not_judged() -> None:
    assert word(msgspec.structs.replace(passed(), ended=None)) == "STOP"
