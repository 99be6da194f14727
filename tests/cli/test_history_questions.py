"""`benchrig history runs`, `unit`, `readings` and `export` on made-up runs."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import Result

from tests.cli.calling import call, lines, told
from tests.history.questions.kit import entry, file_of, history_of

EVIL = "<script>alert(1)</script>\x1b[2J\u202e=1+1"
VOLTAGE = "read voltage.value"
RUNS = [
    entry(1, unit="A", readings={VOLTAGE: 1 / 3}),
    entry(2, unit="A", given="B", verdict="fail", step="read voltage", reading="value", readings={VOLTAGE: 12.5}),
    entry(3, unit=EVIL, station=EVIL, plan="smoke", verdict="error", cause="operator", left_out=1),
    entry(4, unit="S", simulated=True, readings={VOLTAGE: 5}),
]


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return file_of(tmp_path_factory.mktemp("history"), RUNS)


def asked(file: Path, *words: object) -> Result:
    return told("history", *words, "--history", file, columns=200)


def data(file: Path, *words: object) -> Any:
    return json.loads(asked(file, *words, "--json").stdout)


def rows(file: Path, *words: object) -> list[dict[str, str]]:
    return [*csv.DictReader(io.StringIO(asked(file, *words, "--csv").stdout))]


def test_runs(file: Path) -> None:
    first, second, third, where, count = lines(asked(file, "runs"))[1:]
    assert first == ["2026-11-02 06:01:00", "A", "end of line", "pass", "line 1", "1.0", "run-000001"]
    assert second[-2:] == ["read voltage, value (limit)", "run-000002"]
    assert (third[4], count) == ("PARTIAL", ["3 runs"])
    assert where == [f"records in {file.parent}"]
    assert asked(file, "runs", "--last", 1).stdout.endswith("1 run, the last of 3\n")
    assert lines(asked(file, "runs", "--verdict", "cut off"))[0] == ["0 runs"]
    assert [each["run_id"] for each in data(file, "runs", "--last", 2)["runs"]] == ["run-000002", "run-000003"]
    assert data(file, "runs")["runs"][2]["unit"] == EVIL, "a program gets text as it is"
    assert [(each["run_id"], each["apart"]) for each in rows(file, "runs")] == [
        ("run-000001", ""), ("run-000002", ""), ("run-000003", "partial"),
    ]  # fmt: skip
    assert rows(file, "runs")[0]["folder"] == str(file.parent / "run-000001")


def test_no_text_of_a_device_steers_a_terminal_or_a_spreadsheet(file: Path) -> None:
    for words in (("runs",), ("runs", "--csv"), ("unit", EVIL), ("unit", EVIL, "--csv")):
        said = asked(file, *words).stdout
        assert "\\x1b[2J\\u202e" in said
        assert not {"\x1b", "\u202e"} & {*said}


def test_a_unit(file: Path) -> None:
    said = asked(file, "unit", "A", "--readings").stdout
    for text in (
        "serial number read   A", "serial number given  B", "label and link disagree in ", "run-000002: given B, read A",
        "12.5 V    0    10  FAILED", "0.333333 V", "2 runs",
    ):  # fmt: skip
        assert text in said
    by_label = data(file, "unit", "B")
    assert [(each["run_id"], each["found_by"]) for each in by_label["runs"]] == [("run-000002", "given serial number")]
    assert by_label["disagreements"][0]["serial"] == "A"
    assert [each["disagrees"] for each in rows(file, "unit", "A")] == ["false", "true"]


def test_readings(file: Path) -> None:
    assert lines(asked(file, "readings"))[1:] == [[VOLTAGE, "V", "end of line"]]
    assert data(file, "readings")["readings"] == [{"reading": VOLTAGE, "measure": "V", "plan": "end of line"}]
    said = lines(asked(file, "readings", VOLTAGE))
    assert said[1][:5] == ["2026-11-02 06:01:00", "A", "0.333333 V", "0", "10"]
    assert ("FAILED" in said[2], said[4]) == (True, ["2 values"])
    assert [float(each["value"]) for each in rows(file, "readings", VOLTAGE)] == [1 / 3, 12.5]
    assert data(file, "readings", VOLTAGE, "--last", 1)["values"][0]["passed"] is False
    refused = call("history", "readings", "read volts.value", "--history", file)
    assert (refused.exit_code, "did you mean 'read voltage.value'?" in refused.stderr) == (4, True)


def test_simulated_runs_are_told_everywhere(file: Path, tmp_path: Path) -> None:
    for words in (("runs",), ("unit", "S"), ("readings",), ("readings", VOLTAGE)):
        assert asked(file, *words, "--simulated").stdout.startswith("SIMULATED: ")
        assert data(file, *words, "--simulated")["simulated"] is True
        assert {each["simulated"] for each in rows(file, *words, "--simulated")} == {"true"}
        assert "SIMULATED" not in asked(file, "runs").stdout
    assert asked(file, "export", tmp_path / "s.csv", "--simulated").stderr.startswith("SIMULATED: 1 reading written to")


def test_an_export_takes_the_place_of_nothing(file: Path, tmp_path: Path) -> None:
    out = tmp_path / "all.csv"
    assert asked(file, "export", out, VOLTAGE).stderr == f"2 readings written to {out}\n"
    assert len(out.read_text().splitlines()) == 3
    again = call("history", "export", out, "--history", file)
    assert (again.exit_code, "already exists" in again.stderr) == (4, True)
    wrong = call("history", "export", out, "read volts.value", "--history", file, "--force")
    assert (wrong.exit_code, len(out.read_text().splitlines())) == (4, 3)
    assert [*tmp_path.iterdir()] == [out], "nothing is left beside it"


def test_a_table_of_many_is_bounded(tmp_path: Path) -> None:
    history_of(tmp_path, [entry(n, readings={VOLTAGE: n}) for n in range(60)]).close()
    assert asked(tmp_path / "history.sqlite", "runs").stdout.endswith("50 runs, the last of 60\n")
    assert asked(tmp_path / "history.sqlite", "readings", VOLTAGE).stdout.endswith("the last 50 of 60 values\n")
    assert len(rows(tmp_path / "history.sqlite", "runs")) == 60
