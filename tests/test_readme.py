"""What the README tells people to paste does what it says, and what it shows is what they see."""

from __future__ import annotations

import csv
import re
from datetime import datetime
from pathlib import Path

import pytest
import yaml

from benchrig.line import telling
from benchrig.line.view import Counts, LastUnit, LineView, SlotView
from benchrig.line_screen.layout import drawn
from tests.pictures.pages import PAGES
from tests.pictures.terminals import TERMINALS
from tests.readme import PROJECT, README, block, pasted
from tests.reference import dead_links, links


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_a_prototype_line_by_line(tmp_path: Path) -> None:
    lines = block("A prototype on your desk", "sh").splitlines()
    assert len(lines) > 10
    script = "".join(f'{line}\necho "exit $? of {line.split()[0]} {line.split()[1]}" >&2\n' for line in lines)
    done = pasted(tmp_path, script)
    ends = [line for line in done.stderr.splitlines() if line.startswith("exit ")]
    assert [end for end in ends if not end.startswith("exit 0 ")] == [], done.stderr
    assert "PASS, SIMULATED" in done.stdout


def test_the_failing_report_is_printed_so(tmp_path: Path) -> None:
    command = re.findall(r"\(`(benchrig run .*)`, shortened\)", README)[0]
    done = pasted(tmp_path, command, COLUMNS="120")
    shown = [line.removesuffix("…").strip() for line in block("benchrig", "text").splitlines()]
    assert [line for line in shown if line not in done.stdout] == [], done.stdout
    assert done.returncode == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("version", "code", "said"),
    [pytest.param("3.2.1", 0, "the firmware passed", marks=pytest.mark.slow), ("9.9.9", 1, "the firmware failed")],
)
def test_the_job_tells_a_bad_firmware(tmp_path: Path, version: str, code: int, said: str) -> None:
    done = pasted(tmp_path, f"set -e\n{block('In CI', 'sh')}", VERSION=version)
    assert (done.returncode, said in done.stdout) == (code, True), done.stdout + done.stderr
    assert (tmp_path / "reports" / "nightly.xml").exists()


def test_the_job_without_its_unit(tmp_path: Path) -> None:
    done = pasted(tmp_path, block("In CI", "sh"), RADIO="virtual:testplans/devices/sensor.yaml")
    assert done.returncode == 1
    report = (tmp_path / "reports" / "nightly.xml").read_text(encoding="utf-8")
    assert re.search('failure type="link" message="[^"]*the unit was not heard', report)
    [table] = (tmp_path / "reports" / "runs").glob("*/readings.csv")
    rows = csv.DictReader(table.read_text(encoding="utf-8").splitlines())
    assert {row["run_cause"] for row in rows} == {"link"}


@pytest.mark.slow
def test_a_mistake_in_the_job_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "reports").mkdir()
    (tmp_path / "reports" / "nightly.xml").write_text("<testsuites/>")
    done = pasted(tmp_path, f"{block('In CI', 'sh')}echo goes on with $?", VERSION="newest")
    assert "nothing was proved: code 4\ngoes on with 4\n" in done.stdout
    assert [*(tmp_path / "reports").iterdir()] == []


@pytest.mark.slow
@pytest.mark.parametrize("command", re.findall(r"^    (benchrig run testplans/box_.*)$", README, re.MULTILINE))
def test_the_plans_that_are_pointed_at_pass(tmp_path: Path, command: str) -> None:
    assert pasted(tmp_path, command).returncode == 0


def test_the_station_file_that_ships_is_the_one_that_is_shown() -> None:
    shipped = PROJECT / "testplans" / "stations" / "line2.yaml"
    assert yaml.safe_load(block("On the production line", "yaml")) == yaml.safe_load(shipped.read_text())


@pytest.mark.slow
def test_the_line_runs_at_that_station(tmp_path: Path) -> None:
    command = re.findall(r"^    (benchrig run .*line2.*)$", README, re.MULTILINE)[0]
    done = pasted(tmp_path, f"{command} --acknowledge")
    assert (done.returncode, "station  end of line 2" in done.stdout) == (0, True), done.stdout + done.stderr


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_ten_rehearsal_runs_and_what_is_remembered(tmp_path: Path) -> None:
    done = pasted(tmp_path, f"set -e\n{block('What is remembered', 'sh')}", COLUMNS="120")
    assert done.returncode == 0, done.stdout + done.stderr
    said = re.sub(" +", " ", done.stdout)
    for line in (
        "unit 4 failed",
        "first pass 9 10 90.00 %",
        "final 10 10 100.00 %",
        "unit VFL3-000104",
        "11 values of 10 units",
    ):
        assert line in said
    assert "first pass" in (tmp_path / "results" / "rehearsal.html").read_text(encoding="utf-8")


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_a_line_in_ten_minutes(tmp_path: Path) -> None:
    done = pasted(tmp_path, f"set -e\n{block('A line in ten minutes', 'sh')}", COLUMNS="120")
    assert done.returncode == 0, done.stdout + done.stderr
    said = re.sub(" +", " ", done.stdout)
    for line in ("first pass 9 10 90.00 %", "final 10 10 100.00 %"):
        assert line in said, done.stdout
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "results" / "line-3").exists(), "nothing simulated is among the results of a line"


def test_the_screen_of_the_line_looks_as_it_is_shown() -> None:
    why = "10 read battery level: 11 % is below the minimum 80 % by 69 %"
    at = datetime(2026, 1, 5, 9, 31)
    slots = (
        SlotView("1", "ended", "PASS", "VFL3-000103", do=telling.PASSED),
        SlotView("2", "ended", "FAIL", "VFL3-000104", says=why, do=telling.FAILED),
    )
    last = (LastUnit(at.astimezone(), "VFL3-000104", "2", "FAIL", why),)
    do = "put the next unit into slot 1, then scan its label"
    view = LineView(
        "line 3", "ready", "1", "J. Holm", rehearsal=True, do=do, slots=slots, counts=Counts(4, 3, 1), takt=45, last_takt=31, last=last
    )  # fmt: skip
    lines = ["".join(text for text, _ in line).rstrip() for line in drawn(view, "", 80, 24, at)]
    assert block("A line in ten minutes", "text").rstrip() == "\n".join(lines).rstrip()


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_links_lead_somewhere(page: str) -> None:
    assert dead_links(PROJECT / page) == []


def test_each_picture_is_shown_once_and_says_that_it_is_simulated() -> None:
    shown = re.findall(r"!\[(.*)\]\((testplans/pictures/.*)\)", README)
    assert sorted(path for _, path in shown) == sorted(f"testplans/pictures/{file}" for file in (*TERMINALS, *PAGES))
    assert [path for says, path in shown if "simulated" not in says.lower()] == []
    assert [path for _, path in shown if path not in links(README)] == [], "links that are not tested"
