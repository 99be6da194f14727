"""What a run was at a line, wherever a reader looks for it."""

from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from benchrig.record import line_part, purposes
from benchrig.record.aggregate import build_record
from benchrig.record.line_part import LinePart
from benchrig.record.model import Record
from benchrig.report import at_line, whole
from benchrig.report.files.junit import junit_xml
from benchrig.report.index import index_row
from benchrig.report.page.head import head, to_do
from tests.history.folders import end_of_line
from tests.report.test_table import shown


def record(*, high: float = 8.0, **said: Any) -> Record:
    """Of a unit that passes, or with a lower limit fails."""
    started, *rest = end_of_line(high=high)
    line = LinePart("2026-11-27 early", "Anna", "fridge logger", "2", proof="serial number read over the link", **said)
    return build_record([replace(started, line=line), *rest])


def test_slot_person_product_and_shift_are_named() -> None:
    made = record()
    told = "slot 2, product fridge logger, shift 2026-11-27 early, person Anna; in the slot: serial number read over the link"
    assert at_line.where(made) == told
    assert told in "".join(head(made).itertext())
    assert f"line     {told}" in shown(made, width=200)
    assert b'<property name="line:slot" value="2" />' in junit_xml(made)
    assert (index_row(made, "f")["slot"], index_row(made, "f")["purpose"], whole.marks(made)) == ("2", "unit", [])


def test_a_retest_names_the_first_run() -> None:
    made = record(purpose="retest", first="0d6f3c1e", again=2)
    assert "purpose  retest 2 of a unit whose first run is 0d6f3c1e" in shown(made, width=200)
    assert b'<property name="line:first_run" value="0d6f3c1e" />' in junit_xml(made)
    assert (
        at_line.purpose(record(purpose="repaired", first="1", again=1))
        == "after a repair of a unit whose first run is 1"
    )


@pytest.mark.parametrize(
    ("purpose", "high", "line", "to_be_done"),
    [
        ("golden", 8.0, "PASS, GOLDEN UNIT: the golden unit passed", "Nothing: this unit checks the station"),
        ("golden", 6.5, "FAIL, GOLDEN UNIT: the golden unit failed", "Check the station"),
        ("known bad", 8.0, "PASS, KNOWN-BAD UNIT: the known-bad unit passed", "Check the station"),
        ("known bad", 6.5, "FAIL, KNOWN-BAD UNIT: the known-bad unit failed", "Nothing on the unit"),
        ("clean-up", 8.0, "PASS, CLEAN-UP: the clean-up was done, and the unit was not tested", "Test the unit anew"),
        ("clean-up", 6.5, "FAIL, CLEAN-UP: the clean-up failed, and the unit was not tested", "Put the unit in order"),
    ],
)
def test_a_run_that_says_nothing_of_the_units_that_are_made(
    purpose: Any, high: float, line: str, to_be_done: str
) -> None:
    made = record(purpose=purpose, reference="R1", high=high)
    assert line in shown(made, width=200)
    assert to_do(made).startswith(to_be_done)
    assert head(made)[0][0].get("class") != "good"


def test_a_run_at_no_line_says_nothing_of_one() -> None:
    made = build_record(end_of_line())
    assert not any([at_line.where(made), at_line.purpose(made), at_line.mark(made), at_line.to_do(made)])
    assert b"line:" not in junit_xml(made)
    assert set(at_line.cells(made).values()) == {"", 0}


def test_the_words_are_those_of_the_record() -> None:
    assert line_part.Purpose.__args__ == purposes.PURPOSES  # type: ignore[attr-defined]
    assert (*purposes.OF_THE_STATION,) == line_part.OF_THE_STATION
    assert not {*purposes.AGAIN} & {*purposes.OF_THE_STATION}
