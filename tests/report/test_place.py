"""What a report may take the place of."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

import pytest

from benchrig.errors import UsageError
from benchrig.files import write_whole
from benchrig.record.aggregate import build_record
from benchrig.report.files.junit import junit_xml
from benchrig.report.files.readings_csv import csv_text
from benchrig.report.place import make_way
from benchrig.report.registry import ReportChoice, reports
from tests.record.examples import failed_run, run_started
from tests.run.kit import DEVICES, PLANS


def chosen(files: Mapping[str, Path]) -> list[ReportChoice]:
    """Reports with files, by option."""
    return [ReportChoice(report, files.get(report.option)) for report in reports()]


@pytest.mark.parametrize("option", ["--junit", "--csv"])
@pytest.mark.parametrize("victim", [PLANS / "smoke.yaml", DEVICES / "logger.yaml"])
def test_an_input_of_a_run_stays(tmp_path: Path, option: str, victim: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_bytes(victim.read_bytes())
    with pytest.raises(UsageError, match="exists and is not an earlier report"):
        make_way(chosen({option: path}), {})
    assert path.read_bytes() == victim.read_bytes()


def test_a_link_to_an_input_stays_too(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text("plan: p\n")
    (tmp_path / "link").symlink_to("plan.yaml")
    with pytest.raises(UsageError):
        make_way(chosen({"--csv": tmp_path / "link"}), {})
    assert (tmp_path / "link").read_text() == "plan: p\n"


@pytest.mark.parametrize("dialect", ["junit-10", "ant"])
def test_an_earlier_report_is_taken_away(tmp_path: Path, dialect) -> None:
    junit, csv, empty = (tmp_path / name for name in ("a.xml", "b.csv", "c.csv"))
    junit.write_bytes(junit_xml(failed_run(), dialect=dialect))
    csv.write_text(csv_text(build_record([run_started()])))
    empty.touch()
    make_way(chosen({"--junit": junit, "--csv": csv}), {})
    make_way(chosen({"--csv": empty}), {})
    assert [*tmp_path.iterdir()] == []


def test_each_kind_of_report_takes_its_own_place_alone(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(junit_xml(failed_run()))
    with pytest.raises(UsageError, match="not an earlier report"):
        make_way(chosen({"--csv": tmp_path / "a.xml"}), {})


@pytest.mark.parametrize("other", ["--csv", "--capture", "the plan"])
def test_two_in_one_place(tmp_path: Path, other: str) -> None:
    (tmp_path / "link").symlink_to("x")
    with pytest.raises(UsageError, match="name the same file"):
        make_way(chosen({"--junit": tmp_path / "x"}), {other: tmp_path / "link"})


def test_devices_and_pipes_stay(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    make_way(chosen({"--junit": tmp_path / "pipe", "--csv": Path(os.devnull)}), {"--capture": Path(os.devnull)})
    write_whole(Path(os.devnull), b"report")
    assert (tmp_path / "pipe").is_fifo()
    assert not Path(os.devnull).is_file()
