"""Steps that are carried out several times: every report shows each of them, and none hides a failure."""

from __future__ import annotations

import csv
import io

from lxml import etree
from rich.console import Console

from benchrig.record.model import RunEnded
from benchrig.report.files.junit import junit_xml
from benchrig.report.files.readings_csv import csv_text
from benchrig.report.table import render
from tests.record.test_executions import at, closes, opens, record, round_of
from tests.report.schemas import errors

SOAK = record(
    opens("1"), closes("1"), opens("2"), *round_of(1, "fail"), *round_of(2), closes("2", verdict="fail"),
    RunEnded(9.0, "fail", 1, 0, "device", at("2.1", 1)),
)  # fmt: skip


def test_the_table_has_a_row_for_each_round() -> None:
    file = io.StringIO()
    render(SOAK, Console(file=file, width=120))
    text = file.getvalue()
    assert "step 2.1 (round 1) read 2.1: fail" in text
    assert "2.1 (round 2) read 2.1" in text
    assert "4 of 7 steps passed, 1 failed, 2 not run" in text


def test_junit_has_a_case_for_each_round() -> None:
    data = junit_xml(SOAK)
    assert errors(data, "junit-10") == []
    cases = {case.get("name"): [inner.tag for inner in case] for case in etree.fromstring(data).iter("testcase")}
    assert list(cases) == ["read 1", "read 2.1", "read 2.2", "read 2.1 (2)", "read 2.2 (2)", "read 3.1", "read 3.2"]
    assert "failure" in cases["read 2.1"]
    assert "failure" not in cases["read 2.1 (2)"]


def test_the_csv_has_the_values_of_each_round() -> None:
    rows = csv.DictReader(io.StringIO(csv_text(SOAK), newline=""))
    assert [(row["step"], row["value"]) for row in rows if row["value"]] == [
        ("2.1 (round 1)", "1"), ("2.1 (round 2)", "2"),
    ]  # fmt: skip
