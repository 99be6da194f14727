"""CSV, read back by the csv module as a spreadsheet would."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from benchrig.record.aggregate import build_record
from benchrig.record.events import Closed, Opened, PlannedNode, RunEnded, Where
from benchrig.record.model import Record
from benchrig.report.files.readings_csv import COLUMNS, csv_text
from benchrig.values.limit import Limit
from tests.record.examples import failed_run, opened, reading, run_of, run_started
from tests.record.strategies import device_text, few, records


def table(record: Record) -> list[list[str]]:
    return list(csv.reader(io.StringIO(csv_text(record), newline="")))


def rows(record: Record) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(csv_text(record), newline="")))


def is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def every_row_has_the_same_columns(record: Record) -> None:
    head, *body = table(record)
    assert head == list(COLUMNS)
    assert {len(row) for row in body} <= {len(COLUMNS)}
    assert len(body) >= sum(len(step.readings) for step in record.steps)


def what_did_not_pass_has_a_row_that_says_why(record: Record) -> None:
    said = {(row["step"], row["cause"]) for row in rows(record) if row["verdict"] not in ("", "pass")}
    for step in record.steps:
        if step.ended is not None and step.ended.verdict in ("fail", "error"):
            assert (step.planned.id, step.ended.cause or "") in said


def what_passed_names_no_cause(record: Record) -> None:
    assert not [row for row in rows(record) if row["verdict"] == "pass" and (row["cause"] or row["message"])]


def every_row_is_one_line(record: Record) -> None:
    assert csv_text(record).count("\n") == len(table(record))


def no_cell_is_a_formula(record: Record) -> None:
    """OWASP, CSV Injection: = + - @, tab and carriage return at the beginning of a cell."""
    for row in table(record):
        assert all(is_number(cell) or not cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


@few
@given(records())
def test_what_holds_for_every_record(record: Record) -> None:
    """In one test: a record takes longer to make than all of this."""
    every_row_has_the_same_columns(record)
    what_did_not_pass_has_a_row_that_says_why(record)
    what_passed_names_no_cause(record)
    every_row_is_one_line(record)
    no_cell_is_a_formula(record)


def test_a_run_that_never_began_has_a_row_that_says_why() -> None:
    ended = RunEnded(0.1, "error", 2, 0, "operator", None, "nobody was there")
    skipped = Closed(Where("1"), 0.1, 0.0, "skip", message="the run ended before its first step")
    first, second = rows(build_record([run_started(), skipped, ended]))
    assert [first[name] for name in ("step", "verdict", "cause", "message")] == [
        "",
        "error",
        "operator",
        "nobody was there",
    ]
    assert second["verdict"] == "skip"


def test_every_row_says_what_the_whole_run_came_to() -> None:
    run = replace(run_started(), given={"serial": "VFL3-000042", "port": "2"}, left_out=3)
    ended = RunEnded(1.0, "fail", 1, 1, "limit", Where("1"))
    [row] = rows(
        build_record([run, opened(), reading(5, Limit(max=4)), Closed(Where("1"), 1.0, 1.0, "fail", "limit"), ended])
    )
    found = [row[name] for name in ("given", "left_out", "run_verdict", "run_cause", "exit_code", "serial")]
    assert found == ["serial=VFL3-000042; port=2", "3", "fail", "limit", "1", ""]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "＝1+1", "-cmd|' /C calc'!A0"])
def test_a_formula_from_the_device_is_text(text: str) -> None:
    assert rows(run_of(reading(text)))[0]["value"] == f"'{text}"


@pytest.mark.parametrize(("text", "cell"), [("\t=1", r"\t=1"), ("\r=1", r"\r=1"), ("a\nb", r"a\nb"), ("\x00", r"\x00")])
def test_control_characters_are_shown_as_escapes(text: str, cell: str) -> None:
    assert rows(run_of(reading(text)))[0]["value"] == cell


@pytest.mark.parametrize(("value", "cell"), [(-5, "-5"), (-0.1, "-0.1"), (None, ""), (True, "true"), ([-1], "[-1]")])
def test_values(value: Any, cell: str) -> None:
    assert rows(run_of(reading(value)))[0]["value"] == cell


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_keeps_all_its_digits(value: float) -> None:
    assert float(rows(run_of(reading(value)))[0]["value"]) == value


@given(device_text().filter(lambda text: not text.startswith("'")))
def test_text_that_is_not_escaped_can_be_had_back(text: str) -> None:
    cell = rows(run_of(reading(text)))[0]["value"]
    assert not text.isprintable() or len(text) > 4096 or cell.removeprefix("'") == text


def test_a_judged_reading_has_its_limits() -> None:
    row = next(row for row in rows(failed_run()) if row["verdict"] == "fail")
    found = [row[name] for name in ("step", "step_name", "reading", "value", "units", "low", "high", "margin", "raw")]
    assert found == ["3", "read temperature", "value", "31.27", "°C", "15", "30", "-1.27", "37 0C"]


def test_a_stream_has_its_statistics() -> None:
    row = next(row for row in rows(failed_run()) if row["count"])
    assert [row[name] for name in ("count", "minimum", "maximum", "mean", "sd", "outside")] == [
        "9", "31.25", "31.34", "31.3", "0.03", "0",
    ]  # fmt: skip


def test_every_row_names_run_and_unit() -> None:
    record = failed_run()
    assert {(row["run_id"], row["serial"]) for row in rows(record)} == {(record.run.run_id, "VFL3-000123")}


@pytest.mark.parametrize("simulated", [True, False])
def test_every_row_says_whether_it_was_simulated(simulated: bool) -> None:
    record = run_of(reading(1, Limit(equals=1)), simulated=simulated)
    assert rows(record)[0]["simulated"] == ("true" if simulated else "false")


def test_the_columns_are_stable() -> None:
    """Other programs read them: a new one goes to the end."""
    assert COLUMNS[:12] == (
        "run_id", "started", "plan", "revision", "station", "simulated", "serial", "address", "step", "step_name",
        "reading", "value",
    )  # fmt: skip
    assert COLUMNS[12:] == (
        "units", "low", "high", "verdict", "margin", "limit", "raw", "count", "minimum", "maximum", "mean", "sd", "outside",
        "cause",
        "message", "given", "radio", "plan_hash", "left_out", "run_verdict", "run_cause", "exit_code",
        "given_serial", "rounds", "tolerated", "device", "confidence", "at_least", "at_most",
        "limit_set", "stated_low", "stated_high", "guard",
        "purpose", "product", "slot", "person", "shift", "proof", "reference", "first_run", "again",
    )  # fmt: skip


def test_a_step_that_failed_without_a_reading_has_a_row() -> None:
    """Who reads only this file must see that a unit was absent."""
    events = [
        run_started(PlannedNode("1", "scan", "scan", "a.yaml:3"), PlannedNode("2", "connect", "connect", "a.yaml:4")),
        Opened(Where("1"), 0.0),
        Closed(Where("1"), 9.0, 9.0, "fail", "link", "the unit was not heard"),
        Closed(Where("2"), 9.0, 0.0, "skip", root=Where("1")),
        RunEnded(9.0, "fail", 1, 0, "link", Where("1")),
    ]
    absent = build_record(events)
    assert [(row["step"], row["verdict"], row["cause"], row["reading"]) for row in rows(absent)] == [
        ("1", "fail", "link", ""),
        ("2", "skip", "", ""),
    ]
