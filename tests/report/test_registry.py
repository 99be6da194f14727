"""A report is one file: options, results folder and the way for it are there with it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import example, given, settings

from benchrig.record.aggregate import build_record
from benchrig.record.model import Record
from benchrig.report.registry import reports
from tests.cli.kit import RUN_FILES
from tests.record.examples import run_started
from tests.record.strategies import records
from tests.reference import SECTIONS
from tests.run.kit import DEVICES, PLANS


@settings(max_examples=4)
@given(records())
@example(build_record([run_started()]))
def test_what_holds_for_every_report_of_any_record(record: Record) -> None:
    for report in reports():
        for name, render in {"": report.render, **report.dialects}.items():
            written = render(record)
            where = f"{report.name} {name}".rstrip()
            assert report.begins in written[:1024], f"{where}: its first kilobyte lacks {report.begins!r}"
            wrong = {char for char in written.decode() if not char.isprintable()} - {"\n", "\r"}
            assert not wrong, f"{where} has {wrong}: escape the texts of a record (text/escape.py)"


# What a stranger writes: counts the steps of a run.
TALLY = """
from benchrig.report.registry import Report

def tally(record, end="\\n"):
    return f"tally of {record.run.plan}: {len(record.steps)} steps{end}".encode()

REPORT = Report("tally", ".txt", "--tally", "Also count the steps.", tally, b"tally of",
                dialects={"line": tally, "bare": lambda record: tally(record, "")})
"""
WITH_TALLY = """
import sys
import benchrig.report.files
benchrig.report.files.__path__.append(sys.argv.pop(1))
from benchrig.__main__ import start
start()
"""
SMOKE = ["run", PLANS / "smoke.yaml", "--radio", f"virtual:{DEVICES / 'logger.yaml'}"]


@pytest.fixture
def benchrig(tmp_path: Path):
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "tally.py").write_text(TALLY)

    def run(*words: str | Path) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-c", WITH_TALLY, tmp_path / "more", *words]
        return subprocess.run(
            command, cwd=tmp_path, capture_output=True, text=True, env={**os.environ, "COLUMNS": "100"}
        )

    return run


@pytest.mark.slow
def test_one_file_makes_a_report(benchrig, tmp_path: Path) -> None:
    said = benchrig("run", "--help").stdout
    assert [
        words for words in ("--tally FILE", "Also count the steps.", "--tally-dialect [line|bare]") if words not in said
    ] == []
    (tmp_path / "mine.txt").write_text("tally of yesterday\n")
    done = benchrig(*SMOKE, "--tally", "mine.txt", "--tally-dialect", "bare")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "mine.txt").read_text() == "tally of Vaccine fridge logger, quick look: 5 steps"
    [kept] = tmp_path.glob("results/*/tally.txt")
    assert kept.read_text() == (tmp_path / "mine.txt").read_text()
    assert {path.name for path in kept.parent.iterdir()} == RUN_FILES | {"tally.txt"}


def test_it_takes_the_place_of_nothing_else(benchrig, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("my thesis\n")
    done = benchrig(*SMOKE, "--tally", "mine.txt")
    assert (done.returncode, (tmp_path / "mine.txt").read_text()) == (4, "my thesis\n")
    assert "--tally mine.txt: the file exists and is not an earlier report" in done.stderr


def test_the_reference_has_every_report() -> None:
    rows = SECTIONS["Reports of a run"].table("report")
    assert [row["report"] for row in rows] == [f"`{report.file_name}`" for report in reports()]
    for report, row in zip(reports(), rows, strict=True):
        words = row["option of `run` that writes it elsewhere as well"]
        assert f"`{report.option} FILE`" in words
        assert all(f"`{dialect}`" in words for dialect in report.dialects)
