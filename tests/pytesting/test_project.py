"""A project of six plans, as a firmware team runs it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from junitparser import JUnitXml

from benchrig.record.journal import read_record
from benchrig.record.model import Record
from tests.pytesting.kit import steps_of
from tests.report.schemas import errors

SEEN = "--benchrig-acknowledge"
WEAK = "--benchrig-radio=virtual:devices/weak_probe.yaml"


def records(project: Path) -> dict[str, Record]:
    """By the file of the plan, and its case."""
    found = [read_record(path) for path in project.glob("results/*/record.jsonl")]
    return {Path(each.run.plan_file).stem + "".join(each.run.given.values()): each for each in found}


def cases_of(project: Path) -> tuple[Any, list[tuple[str, str, list[str]]]]:
    """The suite, and what each test case is and came to."""
    document = (project / "report.xml").read_bytes()
    assert errors(document, "junit-10") == []
    [suite] = JUnitXml.fromstring(document)
    return suite, [(case.classname, case.name, [type(each).__name__ for each in case.result]) for case in suite]


def test_alone(project: Path, start) -> None:
    """Every step is an item, passes, and is in one record a plan and case; the same ids when a step is inserted."""
    session = start(SEEN, "-v", "--durations=0", "-vv", "--junitxml=report.xml", "-p", "no:cacheprovider")
    assert session.counts() == {"passed": 20, "skipped": 1}, session.text
    assert session.said == {
        "Climate::temperature in the warm[cold]": "Skipped: only if climate equals 'warm'; climate is 'cold'"
    }
    assert session.code == 0
    assert {name: each.ended and each.ended.verdict for name, each in records(project).items()} == dict.fromkeys(
        ["alarm", "boardB2", "climatecold", "climatewarm", "links", "smoke", "stream"], "pass"
    )
    assert "benchrig: radio virtual:probe.yaml, SIMULATED: no real unit is tested" in session.text
    assert "2 of 2 steps passed" in session.text
    assert "plan     Stream of temperatures (plans/stream.yaml)" in session.text, "the table, with -v"
    assert re.search(r"10\.\d\ds call     plans/stream.yaml::Stream of temperatures::notify temperature", session.text)
    suite, cases = cases_of(project)
    assert (suite.tests, suite.failures, suite.errors, suite.skipped) == (len(cases), 0, 0, 1) == (21, 0, 0, 1)
    assert ("plans.smoke.yaml.Smoke test", "read battery level", []) in cases
    folders = [each.value for each in suite.properties() if each.name == "benchrig:Smoke test"]
    assert [(Path(folder) / "junit.xml").exists() for folder in folders] == [True]

    steps_of(project / "plans/smoke.yaml", "  - read: humidity\n", "  - read: temperature\n")
    again = start(SEEN, "--collect-only", "-q", "-p", "no:cacheprovider")
    new = ["plans/smoke.yaml::Smoke test::read humidity", "plans/smoke.yaml::Smoke test::read temperature"]
    assert [each for each in again.ids if each not in new] == session.ids
    assert {*again.ids} == {*session.ids, *new}
    assert len(records(project)) == 7, "nothing ran"


def test_a_bad_unit(project: Path, start) -> None:
    """The twin with an old board and a flat battery fails where it has to; --lf, -x and -k of the failures."""
    session = start(SEEN, WEAK, "--junitxml=report.xml")
    bad = {"Smoke test::read battery level": "failed", "Board::hardware is ${hardware}": "failed"}
    assert {name: came for name, came in session.came.items() if came not in ("passed", "skipped")} == bad
    assert session.code == 1
    said = session.said["Smoke test::read battery level"]
    assert "value: 4 % is below the minimum 20 % by 16 %" in said
    assert "SIMULATED: this ran on a virtual radio" in said
    [folder] = [line.removeprefix("record: ") for line in said.splitlines() if line.startswith("record: ")]
    assert read_record(Path(folder) / "record.jsonl").run.plan == "Smoke test"
    assert "FAILED plans/smoke.yaml::Smoke test::read battery level - [SIMULATED] fail (limit): 4 %" in session.text
    suite, cases = cases_of(project)
    assert (suite.tests, suite.failures, suite.errors) == (len(cases), 2, 0)
    assert [name for _, name, result in cases if result == ["Failure"]] == [
        "hardware is ${hardware}",
        "read battery level",
    ]

    last = start(SEEN, WEAK, "--lf")
    assert last.came == bad
    assert start(SEEN, "--lf").came == dict.fromkeys(bad, "passed"), "on the sound device"

    stopped = start(SEEN, WEAK, "-x", "plans/board.yaml", "plans/smoke.yaml")
    assert stopped.came == {"Board::connect": "passed", "Board::hardware is ${hardware}": "failed"}


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["-k", "battery"], ["Smoke test::read battery level"]),
        (["-k", "smoke_test and not read"], ["Smoke test::scan", "Smoke test::connect"]),
        (["-k", "climate and cold and humidity"], ["Climate::read humidity[cold]"]),
        (["-m", "smoke", "-k", "not connect and not scan and not read"], ["Board::hardware is ${hardware}"]),
        (["plans/climate.yaml::Climate::read humidity"], ["Climate::read humidity[cold]", "Climate::read humidity[warm]"]),
        (["plans/climate.yaml::Climate::read humidity[warm]"], ["Climate::read humidity[warm]"]),
    ],
)  # fmt: skip
def test_what_is_selected_runs_with_what_it_needs(project: Path, start, words: list[str], expected: list[str]) -> None:
    session = start(SEEN, "-p", "no:cacheprovider", *words)
    if expected[0] == "Smoke test::scan":
        assert session.came == {
            "Smoke test::scan": "passed",
            "Smoke test::connect": "passed",
            f"{expected[1]} later": "error",
        }
        assert "no limit was judged, so nothing was proved" in session.said[f"{expected[1]} later"]
        return
    assert session.came == dict.fromkeys(expected, "passed"), session.text
    assert all(each.ended.verdict == "pass" for each in records(project).values() if each.ended)


@pytest.mark.slow
def test_in_a_rough_air(project: Path, start) -> None:
    for device in project.glob("devices/*.yaml"):
        device.write_text(f"air: rough\n{device.read_text('utf-8')}", "utf-8")
    assert start(SEEN, "-p", "no:cacheprovider").counts() == {"passed": 20, "skipped": 1}
    bad = start(SEEN, WEAK, "-p", "no:cacheprovider").came
    failed = {name for name, came in bad.items() if came == "failed"}
    assert failed == {"Smoke test::read battery level", "Board::hardware is ${hardware}"}
    assert "error" not in bad.values()


@pytest.mark.slow
def test_two_workers(project: Path, outside) -> None:
    """The steps of a plan stay together; table, records and counts are as ever."""
    result = outside(SEEN, "-n", "2", "-v", "--junitxml=report.xml")
    assert result.parseoutcomes() == {"passed": 20, "skipped": 1}, result.stdout.str()
    assert len(records(project)) == 7
    assert all(each.ended and each.ended.verdict == "pass" for each in records(project).values())
    assert "plan     Stream of temperatures" in result.stdout.str()
    suite, cases = cases_of(project)
    assert suite.tests == len(cases) == 21
    assert len([each for each in suite.properties() if each.name.startswith("benchrig:")]) == 7

    failed = outside(SEEN, WEAK, "-n", "2", "-x")
    assert failed.ret in (1, 2), "stopped by xdist"
    assert all(each.ended is not None for each in records(project).values())
