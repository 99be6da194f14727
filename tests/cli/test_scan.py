"""`benchrig scan`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchrig.cli.columns import Column, fitting, in_cells, laid_out, natural
from benchrig.cli.scan_table import level_bar, seconds_text
from tests.cli.kit import benchrig
from tests.run.kit import DEVICES

LOGGER, SENSOR = DEVICES / "logger.yaml", DEVICES / "sensor.yaml"
RADIO = f"virtual:{LOGGER},{SENSOR}"

A, B, C = Column("a", 4, 1, most=10), Column("b", 3, 3, right=True), Column("c", 5, 2)


def test_what_matters_least_is_left_out_first() -> None:
    assert [column.heading for column, _ in fitting([A, B, C], 40)] == ["a", "b", "c"]
    assert [column.heading for column, _ in fitting([A, B, C], 15)] == ["a", "c"]
    assert fitting([A, B, C], 4) == [(A, 4)]


def test_the_room_that_is_left_goes_to_what_can_use_it() -> None:
    assert fitting([A, B, C], 18) == [(A, 6), (B, 3), (C, 5)]
    assert fitting([A, B, C], 80)[0] == (A, 10)


def test_a_pipe_gets_whole_cells_and_no_empty_column() -> None:
    columns = natural([A, B, C], [["long text here", "", "1"], ["x", "", "22"]])
    assert columns == [(A, 14), (C, 2)]
    assert laid_out(columns, ["x", "22"]) == "x" + " " * 13 + "  22"


@pytest.mark.parametrize(
    ("text", "shown"), [("abc", "abc  "), ("abcdef", "abcd…"), ("漢字漢", "漢字…"), ("a漢字漢", "a漢 …")]
)
def test_cells_are_counted_as_terminals_do(text: str, shown: str) -> None:
    assert in_cells(text, 5) == shown


def test_numbers_stand_at_the_right_and_ascii_is_kept() -> None:
    assert in_cells("7", 3, right=True) == "  7"
    assert in_cells("20 °C", 20, ascii_only=True) == "20 deg C" + " " * 12
    assert in_cells("abcdef", 4, ascii_only=True) == "abc~"


def test_a_bar_of_the_level() -> None:
    assert [level_bar(level, 4, ascii_only=True) for level in (-120, -65, -10)] == ["....", "##..", "####"]


@pytest.mark.parametrize(
    ("seconds", "shown"), [(None, ""), (0.1049, "105 ms"), (0.9996, "1.0 s"), (12.34, "12.3 s"), (600, "10 min")]
)
def test_times_are_short(seconds: float | None, shown: str) -> None:
    assert seconds_text(seconds) == shown


def test_a_table_for_a_pipe(tmp_path: Path) -> None:
    done = benchrig("scan", "--radio", RADIO, "--sort", "name", cwd=tmp_path)
    heading, first, second = done.stdout.splitlines()
    assert done.returncode == 0
    assert heading.split()[:4] == ["name", "address", "kind", "dBm"]
    assert first.split()[:5] == ["Sensor-11", "C4:1F:5A:30:00:11", "static", "-50", "0.0"]
    assert second.endswith("environmental sensing                 FFFF: 03 01")
    assert done.stderr.startswith("SIMULATED")


def test_one_document_a_device(tmp_path: Path) -> None:
    done = benchrig(
        "scan", "--radio", RADIO, "--json", "--for", "1s", "--service", "environmental sensing", cwd=tmp_path
    )
    [device] = [json.loads(line) for line in done.stdout.splitlines()]
    assert device["advertising"]["name"] == "VFL-0042"
    assert device["fields"][0]["value"] == ["general discoverable", "BR/EDR not supported"]


def test_one_document_a_report(tmp_path: Path) -> None:
    done = benchrig("scan", "--radio", RADIO, "--reports", "--json", "--for", "1s", "-d", "VFL-*", cwd=tmp_path)
    heard = [json.loads(line) for line in done.stdout.splitlines()]
    assert 8 <= len(heard) <= 10
    assert {each["name"] for each in heard} == {"VFL-0042"}
    assert all(0 <= each["at"] <= 1 for each in heard)


def test_nothing_that_matches(tmp_path: Path) -> None:
    done = benchrig("scan", "--radio", RADIO, "-d", "nobody", "--json", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (5, "")
    assert "2 others were heard" in done.stderr


def test_a_key_that_is_none(tmp_path: Path) -> None:
    done = benchrig("scan", "--radio", RADIO, "--irk", "ec02", cwd=tmp_path)
    assert done.returncode == 4
    assert "32 hex digits" in done.stderr
