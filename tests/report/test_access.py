"""The matrix of an access step: in the terminal as wide as it is, and line by line in the JUnit report."""

from io import StringIO
from xml.etree import ElementTree as ET

import pytest
from msgspec.structs import replace
from rich.console import Console

from benchrig.record.aggregate import build_record
from benchrig.record.events import FORMAT, Closed, Opened, PlannedNode, Reading, RunEnded, RunStarted, Where
from benchrig.report.files.junit import junit_xml
from benchrig.report.table import render
from benchrig.values.access import AccessCell, AccessRow

WEAK, SHORT = "insufficient authentication", "encryption key size too short"
ROWS = [
    AccessRow("dose", "read", "encrypted", [
        AccessCell("no security", WEAK, "allowed", "read by type", differs=True), AccessCell("encrypted", "allowed", "allowed"),
        AccessCell("authenticated", "allowed", "allowed"), AccessCell("after pairing", WEAK, WEAK),
    ]),
    AccessRow("dose", "write", "authenticated", [
        AccessCell("no security", WEAK, why="not listed under writes"), AccessCell("encrypted", WEAK, SHORT, differs=True),
    ]),
    AccessRow("[red]lamp", "read", "any"),
]  # fmt: skip


def record_of(rows):
    where = Where("1")
    return build_record([
        RunStarted(FORMAT, "1", "2026-01-01T00:00:00Z", "a plan", "plan.yaml", "0", "bench 1", "virtual", False,
                   [PlannedNode("1", "access", "access", "plan.yaml:4")], {}),
        Opened(where, 0.0),
        Reading(where, 1.0, "found", [text for row in rows for text in row.differences], access=rows),
        Closed(where, 1.0, 1.0, "pass"),
        RunEnded(1.0, "pass", 5, 0),
    ])  # fmt: skip


def shown(width, rows=ROWS, **options):
    console = Console(file=StringIO(), width=width, **options)
    render(record_of(rows), console)
    return " ".join(console.file.getvalue().partition("what the unit allows, step 1 access")[2].split())


def test_with_room_errors_have_their_names():
    text = shown(150)
    assert text.startswith("attribute operation needs no security encrypted authenticated after pairing dose read")
    assert "✗ allowed by read by type," in text
    assert "✗ encryption key size" in text
    assert "[red]lamp read any" in text
    assert "– not listed under writes (1)" in text


@pytest.mark.parametrize(
    ("width", "heading"), [(100, "no security encrypted authenticated"), (80, "none enc auth after")]
)
def test_with_less_room_they_have_their_codes_and_the_names_stand_below(width, heading):
    text = shown(width)
    assert f"attribute operation needs {heading}" in text
    assert "✗ 0x0C, not 0x05" in text
    assert f"0x05 {WEAK}" in text
    assert f"0x0C {SHORT}" in text


def test_with_little_room_only_what_differs_is_told():
    text = shown(50)
    assert f"dose, read, needs encrypted: no security: ✗ allowed by read by type, not {WEAK}" in text
    assert "1 operation as expected, or not tried" in text


def test_without_unicode_the_sign_is_a_letter(monkeypatch):
    monkeypatch.setattr("rich.console.ConsoleOptions.ascii_only", True)
    assert "X allowed by read by type" in shown(150)


def test_a_line_for_each_operation_in_the_junit_report():
    text = ET.fromstring(junit_xml(record_of(ROWS))).find(".//testcase/system-out").text.splitlines()
    assert (
        f"dose, write, needs authenticated: no security: not tried, not listed under writes; "
        f"encrypted: ✗ {SHORT}, not {WEAK}" in text
    )
    assert "[red]lamp, read, needs any: not judged" in text


def test_of_a_record_without_a_matrix_nothing_is_drawn():
    assert shown(150, []) == ""
    assert replace(ROWS[0], cells=[]).differences == []
