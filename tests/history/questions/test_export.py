"""Exported readings, read back by pandas and pyarrow."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest

from benchrig.errors import UsageError
from benchrig.history.opening import History
from benchrig.history.questions.export import COLUMNS, export, kind_of
from benchrig.history.questions.filters import Filters
from tests.history.questions.kit import BEGIN, entry, history_of

NAME = "read name.value"
RUNS = [
    entry(2, unit="B", readings={"read voltage.value": 0.1, NAME: "=1+1"}, left_out=1),
    entry(1, unit='=HYPERLINK("x")', readings={"read voltage.value": 1 / 3}, study="gauge 1"),
    entry(3, unit="C", readings={"read voltage.value": 2e-300}, limits=(None, 5.0), plan="smoke"),
    entry(4, unit="S", readings={"read voltage.value": 7}, simulated=True),
]


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory) -> History:
    return history_of(tmp_path_factory.mktemp("history"), RUNS)


def exported(history: History, kind: str, *labels: str, filters: Filters | None = None) -> bytes:
    file = io.BytesIO()
    export(history, labels, filters or Filters(), file, kind, studies=True)
    return file.getvalue()


def test_arrow_gives_back_what_was_measured(history: History) -> None:
    feather = pytest.importorskip("pyarrow.feather", reason="pyarrow is not installed")
    table = feather.read_table(io.BytesIO(exported(history, "arrow")))
    assert table.column_names == [*COLUMNS]
    rows: list[dict[str, Any]] = table.to_pylist()
    assert [(row["reading"], row["step"], row["run_id"], row["value"], row["text"]) for row in rows] == [
        ("value", "read name", "run-000002", None, "=1+1"),
        ("value", "read voltage", "run-000001", 1 / 3, None),
        ("value", "read voltage", "run-000002", 0.1, None),
        ("value", "read voltage", "run-000003", 2e-300, None),
    ]
    first, second, third = rows[1:]
    assert (first["study"], second["partial"], first["partial"], third["low"], third["high"]) == (
        "gauge 1",
        True,
        False,
        None,
        5.0,
    )
    assert (first["started"] - BEGIN).total_seconds() == 60
    assert {row["simulated"] for row in rows} == {False}


def test_csv_gives_back_every_digit(history: History) -> None:
    pandas = pytest.importorskip("pandas", reason="pandas is not installed")
    data = exported(history, "csv", "read voltage.value")
    frame = pandas.read_csv(io.BytesIO(data), parse_dates=["started"])
    assert [*frame.columns] == [*COLUMNS]
    assert frame["value"].tolist() == [1 / 3, 0.1, 2e-300]
    assert frame["started"][0] == BEGIN.replace(minute=1)
    assert frame["unit"][0] == '\'=HYPERLINK("x")', "no formula for a spreadsheet"


def test_runs_of_gauge_studies_are_left_out_and_counted(history: History) -> None:
    file = io.BytesIO()
    assert export(history, ["read voltage.value"], Filters(), file, "csv") == (2, 1, 0)
    rows = [dict(zip(COLUMNS, line.split(","), strict=True)) for line in file.getvalue().decode().splitlines()[1:]]
    assert [(row["run_id"], row["started"]) for row in rows] == [
        ("run-000002", "2026-11-02T06:02:00Z"),
        ("run-000003", "2026-11-02T06:03:00Z"),
    ]


def test_simulated_readings_are_apart(history: History) -> None:
    lines = exported(history, "csv", filters=Filters(simulated=True)).decode().splitlines()
    assert len(lines) == 2
    assert dict(zip(COLUMNS, lines[1].split(","), strict=True))["simulated"] == "true"


def test_what_cannot_be_exported(history: History, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"no reading 'read volts\.value'"):
        exported(history, "csv", "read volts.value")
    with pytest.raises(UsageError, match=r"ends in \.csv, \.arrow, \.feather, found 'all\.xlsx'"):
        kind_of(tmp_path / "all.xlsx")


def test_without_pyarrow(history: History, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(UsageError, match="which is not installed") as wrong:
        exported(history, "arrow")
    assert "benchrig[arrow]" in wrong.value.advice


def test_the_columns_stay() -> None:
    """Programs of others read them by name: a new one comes behind these."""
    assert [*COLUMNS][:36] == [
        "run_id",
        "started",
        "plan",
        "revision",
        "plan_hash",
        "limit_set",
        "step",
        "occurrence",
        "reading",
        "measure",
        "value",
        "text",
        "low",
        "high",
        "stated_low",
        "stated_high",
        "passed",
        "margin",
        "samples",
        "minimum",
        "maximum",
        "mean",
        "unit",
        "serial",
        "given_serial",
        "address",
        "firmware",
        "station",
        "fixture",
        "radio",
        "simulated",
        "partial",
        "study",
        "run_verdict",
        "run_cause",
        "folder",
    ]
