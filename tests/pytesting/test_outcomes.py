"""What each item comes to, for every way in which a run can go."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree

from benchrig.record.journal import read_record
from tests.pytesting.kit import plan_text

BATTERY = "  - read: battery level\n    expect: {value: {min: 20 %}}\n"
LEVELS = "  - read: battery level\n    name: a level that no battery has\n    expect: {value: {min: 90 %}}\n"
CONNECT = "  - connect:\n"
MISSING = "  - read: 0xFF99\n    name: nothing is there\n"


def write(project: Path, **plans: str) -> list[str]:
    for name, text in plans.items():
        (project / f"{name}.yaml").write_text(text, "utf-8")
    return [f"{name}.yaml" for name in plans]


def test_who_is_to_blame_decides_the_outcome(project: Path, start) -> None:
    """A limit, the device, the link: failed. Station, plan, operator: an error. What was left out for an item is skipped."""
    files = write(
        project,
        limit=plan_text(CONNECT + LEVELS + BATTERY, name="limit"),
        device=plan_text(CONNECT + MISSING + BATTERY, name="device"),
        link=plan_text(CONNECT + BATTERY, name="link").replace("GHP-*", "nobody"),
        operator=plan_text(CONNECT + "  - ask: Is the lamp green?\n" + BATTERY, name="operator"),
        station=plan_text(CONNECT + "  - command: [no-such-program]\n" + BATTERY, name="station"),
        mistake=plan_text(CONNECT + "  - call: rig:none\n" + BATTERY, name="mistake"),
        inside=plan_text(f"{CONNECT}  - group: levels\n    steps:\n{_in(MISSING + LEVELS)}{BATTERY}", name="inside"),
        stops=plan_text(CONNECT + LEVELS + "    on_fail: stop\n" + BATTERY, name="stops"),
    )  # fmt: skip
    (project / "rig.py").write_text("def none(bench):\n    raise ValueError('no such relay')\n", "utf-8")
    session = start(*files)
    assert session.came == {
        "limit::connect": "passed", "limit::a level that no battery has": "failed", "limit::read battery level": "passed",
        "device::connect": "passed", "device::nothing is there": "failed", "device::read battery level": "passed",
        "link::connect": "failed", "link::read battery level": "skipped",
        "operator::connect": "passed", "operator::ask Is the lamp green?": "error", "operator::read battery level": "skipped",
        "station::connect": "passed", "station::command no-such-program": "error", "station::read battery level": "skipped",
        "mistake::connect": "passed", "mistake::call rig:none": "error", "mistake::read battery level": "skipped",
        "inside::connect": "passed", "inside::levels": "failed", "inside::read battery level": "passed",
        "stops::connect": "passed", "stops::a level that no battery has": "failed", "stops::read battery level": "skipped",
    }, session.text  # fmt: skip
    said = session.said
    assert "--benchrig-set" in said["operator::ask Is the lamp green?"], said
    assert "rig:none raised ValueError: no such relay (rig.py:2)" in said["mistake::call rig:none"]
    assert "step 2.1 nothing is there (read 0xFF99): fail (device)" in said["inside::levels"]
    assert "step 2.2 a level that no battery has (read battery level): fail (limit)" in said["inside::levels"]
    assert said["link::read battery level"] == "Skipped: step 1 left no link"
    assert all("SIMULATED" in text for text in said.values() if not text.startswith("Skipped")), said


def _in(steps: str) -> str:
    return "".join(f"    {line}\n" for line in steps.splitlines())


def test_what_keeps_a_run_from_its_first_step(project: Path, start) -> None:
    """The first item is an error that says why, the others are skipped for it; nothing of it is green."""
    secret = "given:\n  pin: {secret: true}\n"
    files = write(
        project,
        missing=plan_text(CONNECT + BATTERY.replace("20 %", "'${least}'"), name="missing", head="given:\n  least: {}\n"),
        unfit=plan_text(CONNECT + BATTERY.replace("20 %", "'${odd}'"), name="unfit", head="given:\n  odd: {max: 5 %}\n"),
        secret=plan_text(CONNECT + "  - write: 0x2A00\n    raw: '${pin}'\n", name="secret", head=f"caution: x\n{secret}"),
        caution=plan_text(CONNECT + "  - write: 0x2A00\n    raw: '01'\n" + BATTERY, name="caution", head="caution: Cover it.\n"),
    )  # fmt: skip
    session = start(*files, "--benchrig-set", "odd=7 %", "--benchrig-set", "pin=0101")
    firsts = ["missing::connect", "unfit::connect", "secret::connect", "caution::connect"]
    assert {name: came for name, came in session.came.items() if came != "skipped"} == dict.fromkeys(firsts, "error"), (
        session.text
    )
    for first, words in zip(
        firsts, ["--benchrig-set least=…", "odd", "process list", "--benchrig-acknowledge"], strict=True
    ):
        assert words in session.said[first], session.said[first]
    assert "0101" not in session.text
    assert {text[:40] for name, text in session.said.items() if name not in firsts} == {
        "Skipped: the run ended before this step:"
    }

    session = start("plans/smoke.yaml", "--benchrig-radio", "hci:tcp:127.0.0.1:1")
    assert session.counts() == {"error": 1, "skipped": 4}
    assert "(station)" in session.said["Smoke test::scan"]
    assert "SIMULATED" not in session.text


def test_what_no_item_tells_is_an_error_behind_the_last_one(project: Path, start) -> None:
    """A clean-up that fails and was not selected, a run that judged nothing; a needed step that fails fails who needed it."""
    cleanup = "  - read: 0xFF99\n    name: clean\n"
    [file] = write(project, late=plan_text(CONNECT + LEVELS + BATTERY, name="late", cleanup=cleanup))
    session = start(file, "-k", "battery")
    level = "late::a level that no battery has"
    assert session.came == {
        level: "failed",
        "late::read battery level": "passed",
        "late::read battery level later": "error",
    }
    assert "step 4 clean (read 0xFF99): fail (device)" in session.said["late::read battery level later"]
    whole = start(file)
    assert whole.came == {
        "late::connect": "passed", "late::a level that no battery has": "failed", "late::read battery level": "passed",
        "late::clean": "failed",
    }  # fmt: skip

    scan = "  - scan:\n    for: 300 ms\n    expect: {rssi: {min: 10 dBm}}\n"
    [file] = write(project, needs=plan_text(scan + CONNECT + BATTERY, name="needs"))
    session = start(file, "-k", "battery")
    assert session.came == {"needs::read battery level": "failed"}
    assert "step 1 scan: fail (limit)" in session.said["needs::read battery level"]

    [file] = write(project, nothing=plan_text(CONNECT + "  - read: battery level\n", name="nothing"))
    session = start(file)
    assert session.came["nothing::read battery level later"] == "error"
    assert "no limit was judged" in session.said["nothing::read battery level later"]


def test_after_the_first_failure_the_clean_up_is_done_and_no_more(project: Path, start) -> None:
    last = f"  - write: {'5e3a0002-71c4-4b0e-9d52-8f6e2a1b3c40'}\n    raw: 'F401'\n    name: put it back\n"
    [file] = write(
        project, stop=plan_text(CONNECT + LEVELS + BATTERY, name="stop", head="caution: none\n", cleanup=last)
    )
    session = start(file, "plans/smoke.yaml", "-x", "--benchrig-acknowledge")
    assert session.came == {"stop::connect": "passed", "stop::a level that no battery has": "failed"}
    [record] = [read_record(path) for path in project.glob("results/*/record.jsonl")]
    assert [(step.planned.name, step.ended and step.ended.verdict) for step in record.steps] == [
        ("connect", "pass"), ("a level that no battery has", "fail"), ("read battery level", "skip"), ("put it back", "pass"),
    ]  # fmt: skip
    assert record.ended is not None
    assert (record.ended.verdict, record.ended.cause) == ("fail", "limit")


def test_mistakes_are_told_before_anything_runs(project: Path, start) -> None:
    """A mistake in a plan: file, line, advice and no traceback. A value that no plan asks for, a radio that is none."""
    [file] = write(project, wrong=plan_text(CONNECT + "  - reed: battery level\n", name="wrong"))
    session = start(file, "plans/smoke.yaml")
    assert session.code == 2
    assert session.came == {}
    assert "wrong.yaml:6:5: " in session.text
    assert "read" in session.text
    assert "Traceback" not in session.text
    for words, said in {
        ("--benchrig-set", "hardwear=B2"): "no plan that was collected has a given value 'hardwear'",
        ("--benchrig-set", "B2"): "expected NAME=VALUE, found 'B2'",
        ("--benchrig-case", "cold"): "expected NAME: VALUE=…, found 'cold'",
        ("--benchrig-case", "cold: climate=cold"): "there are two cases 'cold'",
        ("--benchrig-radio", "bluetooth"): "unknown radio 'bluetooth'",
        ("--benchrig-station", "none.yaml"): "none.yaml",
        ("--benchrig-seed", "one"): "expected a whole number, found 'one'",
    }.items():
        session = start("plans/board.yaml", *words)
        assert (session.code, session.came) == (4, {}), session.text
        assert said in session.text, session.text
    other = write(project, other=plan_text(CONNECT + BATTERY, name="marked", head="markers: [smoke, xfail]\n"))
    assert "pytest takes the marker 'xfail' for more than a name" in start(*other).text


def test_markers_names_and_other_plugins(project: Path, start) -> None:
    """Odd names, two plans of one name, items that are shuffled, what is expected to fail; the variable does not count."""
    odd = "a [b]::c Grüße " + "x" * 300
    steps = f"{CONNECT}{LEVELS}  - read: battery level\n    name: '{odd}'\n    expect: {{value: {{min: 20 %}}}}\n{BATTERY}{BATTERY}"
    files = write(project, one=plan_text(steps, name="same [1]"), two=plan_text(CONNECT + BATTERY, name="same [1]"))
    (project / "conftest.py").write_text(
        "import pytest\n"
        "@pytest.hookimpl(tryfirst=True)\n"
        "def pytest_collection_modifyitems(items):\n"
        "    items.sort(key=lambda item: item.name, reverse=True)\n"
        "    for item in items:\n"
        "        if 'no battery' in item.name or 'nobody' in item.nodeid:\n"
        "            item.add_marker(pytest.mark.xfail)\n",
        "utf-8",
    )
    session = start(*files)
    assert "6 passed, 1 xfailed" in session.text
    assert session.ids[0].startswith(("one.yaml::same (1)::connect", "two.yaml::same (1)::connect"))
    [found] = [each for each in session.ids if "Grüße" in each]
    assert found.startswith("one.yaml::same (1)::a (b):c Grüße xxx")
    assert start(found).came == {found.partition("::")[2]: "passed"}
    assert len([*project.glob("results/*/record.jsonl")]) == 3
    again = [each for each in session.ids if "read battery level" in each]
    assert sorted(again) == [
        "one.yaml::same (1)::read battery level", "one.yaml::same (1)::read battery level (2)",
        "two.yaml::same (1)::read battery level",
    ]  # fmt: skip
    nobody = write(project, nobody=plan_text(CONNECT + BATTERY, name="nobody", head="caution: c\n"))
    assert start(*nobody, "--benchrig-radio", "hci:tcp:127.0.0.1:1").came["nobody::connect"] == "error", "no xfail"


def test_nothing_runs_that_is_only_shown(project: Path, start, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BENCHRIG_RADIO", "virtual:devices/probe.yaml")
    (project / "pytest.ini").write_text("[pytest]\nasyncio_default_fixture_loop_scope = function\n", "utf-8")
    assert start("--setup-plan", "plans/smoke.yaml").code == 0
    assert start("--collect-only", "-q", "plans/smoke.yaml").came == {}
    assert not (project / "results").exists()
    assert "SIMULATED" not in start("--collect-only", "plans/smoke.yaml").text


def test_a_step_with_a_mark_of_pytest_is_not_done(project: Path, start) -> None:
    """It is as one that was not selected: done where another needs it, and then that one shows what it came to."""
    steps = f"{CONNECT}{LEVELS}{BATTERY}  - read: model number\n    expect: {{value: {{equals: GHP1}}}}\n"
    files = write(project, marked=plan_text(steps, name='"a\\uFFFE\\u202eb"'))
    (project / "conftest.py").write_text(
        "import pytest\n"
        "MARKS = {'connect': pytest.mark.skip, 'a level that no battery has': pytest.mark.skipif(True, reason='weak'),\n"
        "         'read model number': pytest.mark.xfail(run=False)}\n"
        "def pytest_collection_modifyitems(items):\n"
        "    for item in items:\n"
        "        for mark in filter(None, [MARKS.get(item.name)]):\n"
        "            item.add_marker(mark)\n",
        "utf-8",
    )
    session = start(*files, "--junitxml=report.xml")
    assert session.counts() == {"skipped": 2, "passed": 1, "xfailed": 1}
    [record] = [read_record(path) for path in project.glob("results/*/record.jsonl")]
    assert [each.planned.name for each in record.steps] == ["connect", "read battery level"]
    assert etree.parse(project / "report.xml").find(".//property").get("name") == "benchrig:a b"


def test_what_failed_runs_again_with_what_changed_the_unit(project: Path, start) -> None:
    """A repaired unit is green with --lf; with -k the text says what was left out."""
    device = project / "devices/probe.yaml"
    repaired = device.read_text("utf-8") + (
        "      - {characteristic: 5e3a0003-71c4-4b0e-9d52-8f6e2a1b3c40, name: command, as: hex, properties: [write],\n"
        "         on_write: {store: false, set: {humidity: 50 %}}}\n"
    )
    device.write_text(repaired.replace("50 %}", "51 %}"), "utf-8")
    steps = (
        "  - connect:\n  - {write: 5e3a0003-71c4-4b0e-9d52-8f6e2a1b3c40, name: water, raw: '01'}\n"
        "  - read: humidity\n    expect: {value: {equals: 50 %}}\n"
    )
    (project / "plans/water.yaml").write_text(plan_text(steps), "utf-8")
    assert start("plans/water.yaml").came == {
        "A plan::connect": "passed", "A plan::water": "passed", "A plan::read humidity": "failed",
    }  # fmt: skip
    device.write_text(repaired, "utf-8")
    session = start("plans/water.yaml", "-k", "humidity")
    assert "partial run: without the step that changes the unit before: 2 water; only_after:" in str(session.said)
    assert start("plans/water.yaml", "--lf").came == {"A plan::read humidity": "passed"}
