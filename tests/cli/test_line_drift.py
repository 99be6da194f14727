"""`benchrig line drift`: the table, the chart of one reading, JSON, and whose checks they are."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.calling import call
from tests.figures.test_drift import RISING, check
from tests.history.questions.kit import file_of


@pytest.fixture
def station(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    file_of(tmp_path, [*RISING, check(30, 11.0), check(31, 3.0, station="line 2"), check(32, 4.0, simulated=True)])
    Path("line.yaml").write_text("station: line 1\nradio: host\nhistory: history.sqlite\n", "utf-8")
    Path("rehearsal.yaml").write_text(
        "station: line 1\nradio: virtual\nrehearsal: {unit: 'units/{serial}.yaml'}\nhistory: history.sqlite\n", "utf-8"
    )
    return "line.yaml"


def test_the_table_says_what_moves(station: str) -> None:
    done = call("line", "drift", station)
    assert done.exit_code == 0, done.output
    for words in (
        "DRIFT  golden units of line 1",
        "G1, unit G, plan end of line",
        "read voltage.value, slot 1: 1 value of 21 failed",
        "it rises by 0.1",
    ):
        assert words in done.stdout
    assert "line 2" not in done.stdout


def test_one_reading_has_a_chart_and_its_checks(station: str) -> None:
    done = call("line", "drift", station, "--reading", "read voltage.value")
    assert "F failed, ! a rule fires" in done.stdout
    assert done.stdout.count("run-0000") == 20
    assert "FAILED" in done.stdout.splitlines()[-1]


def test_the_checks_of_a_rehearsal_are_alone(station: str) -> None:
    done = call("line", "drift", "rehearsal.yaml", "--json")
    told = json.loads(done.stdout)
    assert (told["simulated"], told["station"]) == (True, "line 1")
    [figure] = told["drift"]
    [slot] = figure["slots"]
    assert (slot["n"], slot["checks"][0]["value"], slot["trend"]) == (1, 4.0, None)


def test_what_is_always_the_same_is_counted(station: str, tmp_path: Path) -> None:
    (tmp_path / "history.sqlite").unlink()
    file_of(tmp_path, [check(n, 5.0) for n in range(9)])
    told = call("line", "drift", station).stdout
    assert "1 reading with one value in all checks of a slot: not shown" in told
    assert "read voltage.value" not in told
    assert call("line", "drift", station, "--reading", "read voltage.value").stdout.count("5 V") > 9


def test_a_station_without_checks_says_so(station: str) -> None:
    Path(station).write_text("station: line 7\nradio: host\nhistory: history.sqlite\n", "utf-8")
    done = call("line", "drift", station)
    assert done.exit_code == 4
    assert "no run with the station 'line 7'" in done.stderr
