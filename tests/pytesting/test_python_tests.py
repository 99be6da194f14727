"""Python tests with the fixtures, as a firmware team writes them, beside the plans of the project."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from junitparser import JUnitXml

from benchrig.record.journal import read_record
from benchrig.record.model import Record
from tests.contract.radios import air_on_tcp
from tests.pytesting.kit import Session
from tests.radio.hci.controller import meddled
from tests.reference import LOGGER, of_kind
from tests.report.schemas import errors

Start = Callable[..., Session]
GOOD = ["tests/test_probe.py", "tests/test_probe_plainly.py"]
WEAK = "--benchrig-radio=virtual:devices/weak_probe.yaml"
README = Path(__file__).parents[2] / "README.md"
QUIET = ["-p", "no:cacheprovider"]


def records(project: Path) -> dict[str, Record]:
    """By the last part of the node id."""
    found = [read_record(path) for path in project.glob("results/*/record.jsonl")]
    return {each.run.plan.rpartition("::")[2]: each for each in found}


def test_a_good_unit_passes_a_weak_one_fails_and_each_test_has_its_record(project: Path, start: Start) -> None:
    session = start(*GOOD, "tests/test_wrong.py", "--junitxml=report.xml", *QUIET)
    bad = {name: each for name, each in session.came.items() if each != "passed"}
    named = {name: name.removeprefix("test_").partition("_")[0].removesuffix(" later") for name in bad}
    assert bad == {name: {"later": "error"}.get(how, how) for name, how in named.items()}, session.text
    assert len(bad) == 14
    assert "4 failed, 23 passed, 1 xfailed, 9 errors" in session.text

    said = session.said
    lines = said["test_failed_limit"].splitlines()
    assert lines[0] == "fail (limit): read battery level: 88 % is below the minimum 95 % by 7 % (bytes 58)"
    assert lines[1].startswith("  tests/test_wrong.py:")
    assert 'await benchrig_link.read("battery level", expect=HIGH)' in lines[1]
    assert lines[2].startswith("SIMULATED: ")
    assert Path(lines[3].removeprefix("record: "), "record.jsonl").exists()
    assert "SIMULATED" in said["test_failed_assert"]
    assert said["test_failed_reading"].startswith("fail (limit): ripple: 0.4 V is above the maximum 0.1 V by 0.3 V")
    assert said["test_failed_no_unit"].startswith("fail (link): scan: the unit was not heard")
    assert said["test_error_station"].startswith("error (station): the fixture is open")
    assert said["test_error_no_radio"].startswith("error (station): hci:tcp:127.0.0.1:1 cannot be opened")
    assert "SIMULATED" not in said["test_error_no_radio"]
    assert said["test_error_two_radios"].startswith("error (plan): benchrig_radio and benchrig_radio_sync both open")
    assert "did you mean 'unit'?" in said["test_error_key"]
    for name in ("test_later_swallowed later", "test_later_not_awaited later"):
        assert said[name].startswith("fail (limit): the test passed, but its record did not\nstep 3 "), said[name]

    kept = records(project)
    assert kept["test_battery"].verdict == "pass"
    assert kept["test_failed_assert"].message.startswith("the Python code raised AssertionError")
    assert {kept[name].verdict for name in named if name.startswith("test_error") and name in kept} == {"error"}
    assert kept["test_difference"].reading("drift", "drift").unit == "K"
    assert kept["test_an_hour_of_silence"].ended.at > 3600

    document = (project / "report.xml").read_bytes()
    assert errors(document, "junit-10") == []
    [suite] = JUnitXml.fromstring(document)
    cases = [(case.name, [type(each).__name__ for each in case.result]) for case in suite]
    results = [each for _, result in cases for each in result]
    assert (suite.failures, suite.errors, suite.skipped) == tuple(map(results.count, ("Failure", "Error", "Skipped")))
    assert (suite.failures, suite.errors, suite.skipped) == (4, 9, 1)
    assert suite.tests == len(cases) == 35
    assert any(each.name.endswith("::test_battery") for each in suite.properties())

    again = start(*GOOD, WEAK, *QUIET)
    assert {name for name, each in again.came.items() if each == "failed"} == {
        "test_battery", "test_an_hour_of_silence", "test_difference"
    }  # fmt: skip


def test_the_example_of_the_reference(project: Path, start: Start) -> None:
    [example] = [each for each in of_kind("python") if each.file == "test_fixtures.py"]
    (project / example.file).write_text(example.text, "utf-8")
    (project / "logger.yaml").write_bytes(LOGGER.read_bytes())
    session = start(example.file, "--benchrig-radio=virtual:logger.yaml", *QUIET)
    assert session.counts() == {"passed": 2}, session.text


def test_the_example_of_the_readme(project: Path, start: Start) -> None:
    [example] = re.findall(r"^```python\n(.*?)^```", README.read_text("utf-8"), re.MULTILINE | re.DOTALL)
    (project / "test_readme.py").write_text(example, "utf-8")
    session = start("test_readme.py", f"--benchrig-radio=virtual:{LOGGER}", *QUIET)
    assert session.counts() == {"passed": 1}, session.text


def test_selected_last_failed_and_first(start: Start) -> None:
    wrong = "tests/test_wrong.py"
    assert start(wrong, "-k", "failed and not unit").counts() == {"failed": 3, "xfailed": 1}
    assert [*start(wrong, "--lf", "-k", "limit or swallowed").came.values()] == ["failed"]
    assert [*start(wrong, "-x", "-k", "station or limit", *QUIET).came.values()] == ["failed"]
    assert [*start(wrong, "-x", "-k", "later_swallowed or not_awaited", *QUIET).came] == [
        "test_later_swallowed", "test_later_swallowed later"
    ]  # fmt: skip


INTERRUPTED = """
import os, signal, pytest, asyncio
@pytest.mark.benchrig(unit="GHP-*")
@pytest.mark.asyncio
async def test_interrupted(benchrig_link):
    asyncio.get_running_loop().call_later(5, os.kill, os.getpid(), signal.SIGINT)
    while True:
        await benchrig_link.read("battery level")

@pytest.mark.benchrig(unit="GHP-*")
def test_plainly(benchrig_link_sync):
    os.kill(os.getpid(), signal.SIGINT)
    while True:
        benchrig_link_sync.read("battery level")
"""


@pytest.mark.slow
@pytest.mark.parametrize("test", ["interrupted", "plainly"])
def test_ctrl_c_closes_the_fixtures_and_is_on_record(project: Path, outside, test: str) -> None:
    (project / "tests/test_stop.py").write_text(INTERRUPTED, "utf-8")
    result = outside("tests/test_stop.py", "-k", test)
    assert result.ret == 2
    [record] = records(project).values()
    assert (record.verdict, record.cause) == ("error", "operator")
    assert "Traceback" not in result.stderr.str()


@pytest.mark.slow
def test_workers_have_an_air_each(outside) -> None:
    outside(*GOOD, "-n", "2", *QUIET).assert_outcomes(passed=21)


@pytest.mark.slow
async def test_workers_take_turns_on_a_controller(project: Path, outside) -> None:
    """No unit is heard there: what matters is that nobody meets a radio in use."""
    (project / "tests/test_turns.py").write_text(
        "import pytest\n@pytest.mark.parametrize('n', range(8))\n"
        "def test_turn(benchrig_radio_sync, n): benchrig_radio_sync.wait('50 ms')\n",
        "utf-8",
    )
    async with meddled(lambda count, packet: packet) as address:
        words = ["-n", "2", f"--benchrig-radio=hci:tcp:{address}", "tests/test_turns.py"]
        result = await asyncio.to_thread(outside, *words)
    result.assert_outcomes(passed=8)


@pytest.mark.slow
@pytest.mark.timeout(150)
def test_on_a_controller(project: Path, outside, monkeypatch: pytest.MonkeyPatch) -> None:
    """The real clock, and the air of another process."""
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))
    with air_on_tcp(project / "devices/probe.yaml") as radio:
        chosen = "battery or climate or stream or difference or readings or alarm or links"
        result = outside(*GOOD, f"--benchrig-radio={radio}", "-k", chosen, *QUIET)
    result.assert_outcomes(passed=12, deselected=9)
    assert "SIMULATED" not in result.stdout.str()
