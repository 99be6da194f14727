"""The eyes of the shift test: words and figures are found where they are, and nowhere else."""

from __future__ import annotations

from datetime import datetime

import pytest

from benchrig.line.view import Counts, LineView, SlotView
from benchrig.line_screen.layout import drawn
from tests.line.seen import figures, panel
from tests.line.shift_rows import rows, sums, table

SLOTS = (
    SlotView("1", "ended", "PASS", "L000101", do="put it into the green box"),
    SlotView("2", "ended", "FAIL", "L000102", says="read battery level: 5 % is below the minimum 20 %"),
    SlotView("3", "ended", "", "L000103", release=True),
    SlotView("4", "running", serial="L000104", step="read temperature", done=3, of=6),
)
VIEW = LineView("line", "ready", "7", "P-0007", True, "scan a label", slots=SLOTS, counts=Counts(10, 9, 1, 2, 1))


@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30), (160, 45)])
def test_each_slot_has_its_word_and_its_unit(width: int, height: int) -> None:
    lines = ["".join(text for text, _ in line) for line in drawn(VIEW, "", width, height, datetime(2026, 1, 5))]
    panels = [panel(lines, slot.name, width) for slot in SLOTS]
    assert [each.word for each in panels] == ["PASS", "FAIL", "SCAN", ""]
    assert [[slot.serial for slot in SLOTS if slot.serial in each.text] for each in panels] == [
        [slot.serial] for slot in SLOTS
    ]
    assert figures("\n".join(lines[-8:])).items() >= {"judged": "10", "first pass": "90.0"}.items()


def test_the_table_adds_up() -> None:
    """200 rows; each unit that is judged has one first result."""
    entries = [*rows(table())]
    assert len(entries) == 200
    assert sums(entries).figures["judged"] == str(
        len({row.serial for row in entries if row.judged and not row.reference})
    )
    assert {row.slot for row in entries} == {"1", "2", "3", "4"}
