"""Records of earlier formats, written by the versions that had these, are judged again as those of today."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.record.journal import read_record
from tests.rejudge.kit import again
from tests.run.kit import PLANS

RECORDS = Path(__file__).parents[1] / "record"


@pytest.mark.parametrize(
    ("file", "plan"),
    [
        ("format1/returned_unit_returned_logger", "returned_unit"),
        ("format1/twelve_checks_sensor", "twelve_checks"),
        ("format2/twelve_checks_sensor", "twelve_checks"),
        ("format3/box_end_of_line_transport_box", "box_end_of_line"),
    ],
)
def test_the_same_plan_makes_the_same_of_them(file: str, plan: str) -> None:
    record = read_record(RECORDS / f"{file}.jsonl")
    found = again(record, PLANS / f"{plan}.yaml")
    if found.as_run:  # the plan may have a newer revision now
        assert (found.altered, found.unknown, found.ended) == ([], [], record.ended)
    assert found.ended is None or found.ended.verdict == record.verdict


def test_what_another_revision_asks_for_was_not_taken() -> None:
    record = read_record(RECORDS / "format1/end_of_line_logger.jsonl")
    found = again(record, PLANS / "end_of_line.yaml")
    assert (found.as_run, found.ended) == (False, None)
    assert ("scan", "name", "the run has not taken the reading") in [(e.step, e.reading, e.why) for e in found.unknown]
