"""The page of a unit: every run of it, under whichever name, and where label and unit disagree."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchrig.errors import UsageError
from benchrig.history.entry import Entry
from benchrig.pages.whole_unit import page_of_unit
from tests.figures.test_drift import check
from tests.history.questions.kit import entry
from tests.pages.kit import ON, a_line, undrawn
from tests.pages.test_set import rows, tree

__all__ = ["undrawn"]

LIFE = [
    entry(1, unit="A", address="C4:00:00:00:00:01", readings={"scan.rssi": 5.0}, firmware="1.0"),
    entry(2, unit="B", given="A", readings={"scan.rssi": 6.0}),
    entry(3, unit="C", readings={"scan.rssi": 7.0}),
    entry(4, unit="", address="C4:00:00:00:00:01", verdict="fail", cause="link", step="connect"),
    entry(5, unit="A", left_out=2, firmware="1.1", station="line 2", address="C4:00:00:00:00:01"),
]


def page(folder: Path, name: str, made: list[Entry] = LIFE, **how: bool) -> Any:
    with a_line(folder, made) as history:
        return tree(page_of_unit(history, name, folder / "unit.html", ON, **how))


def test_the_whole_life_is_there(tmp_path: Path) -> None:
    root = page(tmp_path, "A")
    told = rows(root, "Runs")
    assert [(row[2], row[10]) for row in told[1:]] == [
        ("pass", "serial number"),
        ("pass", "given serial number; read B, given A"),
        ("fail", "address alone"),
        ("pass PARTIAL", "serial number"),
    ]
    facts = root.xpath("//header/dl")[0].text_content()
    assert all(each in facts for each in ("A, B", "line 1, line 2", "4, 3 passed", "pass PARTIAL"))
    assert root.xpath("//p[@class='notice']")[0].text_content() == "LABEL AND UNIT DISAGREE in 1 run: B was given as A"
    assert len([each for each in root.xpath("//a/@href") if each.endswith("/report.html")]) == 4 + 1
    assert rows(root, "Readings")[1][:6] == ["scan.rssi", "end of line", "2", "0", "6 V", "5 V"]


def test_a_wrong_label_is_found_under_both_names(tmp_path: Path) -> None:
    root = page(tmp_path, "B")
    assert [row[10] for row in rows(root, "Runs")[1:]] == ["serial number; read B, given A"]


def test_a_unit_that_nobody_knows(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no run with the unit 'Z'"):
        page(tmp_path, "Z")


def test_simulated_runs_are_alone_and_said(tmp_path: Path) -> None:
    made = [*LIFE, entry(9, unit="A", simulated=True)]
    root = page(tmp_path, "A", made, simulated=True)
    assert len(rows(root, "Runs")) == 2
    assert root.xpath("//p[@class='notice']/strong")[0].text == "SIMULATED"


@pytest.mark.usefixtures("undrawn")
def test_a_golden_unit_has_its_drift(tmp_path: Path) -> None:
    """Slot by slot; the readings of the units that are made have none of it."""
    runs = [check(n, 5.0 + 0.1 * n, slot="12"[n % 2], measure="V") for n in range(12)] + [check(13, 12.0, slot="2")]
    told = rows(page(tmp_path, "G", runs), "Checks with this golden unit")
    assert [row[:4] for row in told[1:]] == [
        ["read voltage.value", "2", "7", "1"],
        ["read voltage.value", "1", "6", "0"],
    ]
    assert told[2][7].startswith("0.1 V (")
    assert not rows(page(tmp_path / "b", "A", [entry(1, unit="A")]), "Checks with this golden unit")


@pytest.mark.usefixtures("undrawn")
def test_the_checks_of_a_golden_unit_are_in_its_life(tmp_path: Path) -> None:
    told = rows(page(tmp_path, "G", [check(1, 5.0, station="line 3", person="Anna")]), "Runs")
    assert (told[1][2], told[1][7]) == ("pass GOLDEN UNIT", "line 3, slot 1, Anna")
