"""What other packages bring: judged as benchrig's own is, and where it is wrong it is named and hurts nothing else."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

import benchrig.extend
from benchrig.extensions import canonical, extensions, is_forbidden
from tests.bringing import MODULES, PAGE, installed, write, write_example
from tests.cli.kit import here
from tests.run.kit import Faults, Ran, device_text, plan_text, run

PROJECT = Path(__file__).parents[1]
# The step as the reference shows it.
STEP = (
    "  "
    + "\n  ".join(re.findall(r"In a plan:\n\n((?:    .*\n)+)", PAGE)[0].replace("    ", "", 1).split("\n    "))
    + "\n"
)
PROBE = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: %s}
"""
SOUND = device_text(PROBE % "{noise: {mean: 21 °C, sd: 0.05 °C}}")
DRIFTS = device_text(PROBE % "{ramp: {from: 21 °C, to: 31 °C, over: 20 s}}")
NAMED = "the name is 'unit 1', and does not begin with VFL-"


@pytest.fixture
def packages(tmp_path: Path) -> Iterator[Path]:
    """Where packages are installed. That of the reference is there."""
    folder = tmp_path / "packages"
    write_example(folder)
    with installed(folder):
        yield folder


def drifting(device: str, air: str, faults: Faults | None = None) -> Ran:
    return run(plan_text(STEP), device, air=air, faults=faults)


# --- a step kind


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_sound_unit_passes_and_its_faulty_twin_fails_in_the_step(packages: Path, air: str) -> None:
    sound, faulty = drifting(SOUND, air), drifting(DRIFTS, air)
    assert (sound.ended.verdict, sound.reading("drift temperature", "moved").unit) == ("pass", "ΔK")
    assert faulty.verdicts() == ["pass", "pass", "fail"]
    assert (faulty.ended.cause, faulty.step("drift temperature").planned.package) == ("limit", "drifting 1.2")
    assert "above the maximum 1" in faulty.ended.message
    assert [step.planned.package for step in sound.record.steps] == ["", "", "drifting 1.2"]


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_unit_without_the_attribute_and_one_that_leaves_are_to_blame(packages: Path, air: str) -> None:
    without = drifting(device_text(), air)
    assert (without.verdicts()[-1], without.ended.cause) == ("fail", "device")
    leaves = drifting(device_text(PROBE % "21 °C", more="on_connect: [{delay: 3 s, disconnect: true}]"), air)
    assert (leaves.verdicts()[-1], leaves.ended.cause) == ("fail", "link")


def brought(body: str, keys: str = "") -> str:
    """A package with the step kind `look`, which does this."""
    return (
        "from benchrig.extend import *\nclass Look_(Step, kw_only=True):\n    'Look.'\n    verb = 'look'\n    needs = NOTHING\n"
        f"    look: str\n{keys}    def readings(self, names):\n        return {{'seen': ReadingType('number')}}\n"
        f"    async def act(self, bench):\n        {body}\n"
    )


@pytest.mark.parametrize(
    ("body", "verdict", "cause", "said"),
    [
        ("return {'seen': 3}", "pass", None, ""),
        ("return {'seen': 9}", "fail", "limit", "9 is above the maximum 5"),
        ("return {}", "error", "station", "step kind 'look' of looks 2.0: the step gave no reading 'seen'"),
        ("return {'seen': 'dark'}", "error", "station", "its reading 'seen' is of the kind text, not number"),
        ("bench.reading('seen', 3, 'mV')", "error", "station", "its reading 'seen' is in mV, not in no unit"),
        ("return {'seen': 3, 'sen': 4}", "error", "station", "it gave a reading 'sen'"),
        ("return {'seen': None}", "fail", "limit", "look returned none"),
        ("assert not bench", "error", "station", "step kind 'look' of looks 2.0 raised AssertionError: no message (looks.py:10)"),
        ("return {'seen': 1 / 0}", "error", "station", "raised ZeroDivisionError: division by zero (looks.py:10)"),
        ("import benchrig; raise benchrig.StepFailed('it is dark')", "fail", "limit", "it is dark"),
    ],
)  # fmt: skip
def test_who_is_to_blame_for_what_the_step_does(tmp_path: Path, body: str, verdict: str, cause: str, said: str) -> None:
    write(tmp_path, "looks", "2.0", {"step kind": {"look": "looks:Look_"}}, looks=brought(body))
    with installed(tmp_path):
        ran = run(plan_text("  - look: around\n    expect: {seen: {max: 5}}\n"), SOUND)
    ended = ran.step("look around").ended
    assert ended is not None
    assert (ended.verdict, ended.cause) == (verdict, cause)
    assert said in (ended.message or ran.ended.message)
    assert (ran.ended.verdict == "pass") == (verdict == "pass")


def checked(folder: Path, steps: str, *more: str, caution: str = "caution: none\n") -> tuple[int, str]:
    (folder / "plan.yaml").write_text(plan_text(steps, head=caution), encoding="utf-8")
    done = here("check", "plan.yaml", *more, cwd=folder)
    return done.returncode, done.stdout + done.stderr


def test_it_is_checked_as_those_of_benchrig_are(packages: Path, tmp_path: Path) -> None:
    assert checked(tmp_path, STEP)[0] == 0
    wrong = (
        "  - drift: temperature\n    over: soon\n    expect: {movd: {max: 1}}\n    ovr: 3 s\n  - drfit: temperature\n"
    )
    code, said = checked(tmp_path, wrong)
    assert code == 4
    assert all(word in said for word in ("expected a time", "unknown key 'ovr'", "did you mean 'over'", "did you mean 'drift'"))  # fmt: skip
    code, said = checked(tmp_path, "  - drift: temperature\n    over: 80 s\n    expect: {movd: {max: 1 °C}}\n")
    assert (code, "the step ends before the 80 s are over" in said) == (4, True)
    code, said = checked(tmp_path, "  - drift: temperature\n    over: 1 s\n    expect: {movd: {max: 1 K}}\n  - drift: device name\n    over: 1 s\n")  # fmt: skip
    assert (code, "did you mean 'moved'" in said, "'device name' is not a number" in said) == (4, True, True)


def test_the_schema_has_it(packages: Path, tmp_path: Path) -> None:
    import yaml

    schema = json.loads(here("check", "--schema", cwd=tmp_path).stdout)
    judge, plan = Draft202012Validator(schema), yaml.safe_load(plan_text(STEP))
    assert judge.is_valid(plan)
    del plan["steps"][-1]["over"]
    assert not judge.is_valid(plan)
    assert "Read a number twice" in schema["$defs"]["Drift"]["description"]


# --- what does not fit


PLAIN = "from benchrig.extend import *\nclass A(Step, kw_only=True):\n"
UNFIT = {
    "nothing": ("import no_such_module_here", ["No module named 'no_such_module_here'"]),
    "broken": ("raise SystemExit(3)", ["raised", "SystemExit: 3 (unfit.py:1)"]),
    "number": ("A = 7", ["unfit:A is not a subclass of benchrig.extend.Step"]),
    "other": (f"{PLAIN}    verb = 'another'\n", ["its verb is 'another', and its entry point is named 'other'", "it has no docstring", "no method 'readings'", "no async method 'act'"]),
    "typed": (f"{PLAIN}    'Text.'\n    verb = 'typed'\n    typed: complex\n", ["the type of its key 'typed' cannot be read"]),
    "read": (f"{PLAIN}    verb = 'read'\n    executes = False\n", ["'read' is a word of benchrig", "'executes' is not true"]),
}  # fmt: skip


@pytest.mark.parametrize("verb", UNFIT)
def test_what_does_not_fit_is_named_and_hurts_no_other_plan(tmp_path: Path, verb: str) -> None:
    source, reasons = UNFIT[verb]
    write(tmp_path, "unfit", "0.1", {"step kind": {verb: "unfit:A"}}, unfit=source)
    with installed(tmp_path):
        assert checked(tmp_path, "  - read: temperature\n")[0] == 0
        assert here("check", "--schema", cwd=tmp_path).returncode == 0
        listed = here("packages", cwd=tmp_path)
        used = checked(tmp_path, f"  - {verb}: temperature\n")
    said = listed.stdout.replace("raised ", "") if verb == "broken" else listed.stdout
    assert listed.returncode == 7
    assert [reason for reason in reasons if reason not in said and reason != "raised"] == []
    assert f"step kind '{verb}' of unfit 0.1 cannot be used" in said
    assert (used[0], "of unfit 0.1 cannot be used" in used[1]) == ((0, False) if verb == "read" else (4, True))


def test_two_packages_with_one_verb(packages: Path, tmp_path: Path) -> None:
    write(packages, "drifted", "3", {"step kind": {"drift": "drifting_steps:Drift"}})
    with installed(packages):
        code, said = checked(tmp_path, STEP)
        assert (code, "step kind 'drift' comes from drifted 3 and drifting 1.2" in said) == (4, True)
        assert checked(tmp_path, "  - read: temperature\n")[0] == 0


def test_code_of_a_package_that_breaks_off_in_the_check(tmp_path: Path) -> None:
    source = brought("pass", "    def misfits(self):\n        return [][0]\n")
    write(tmp_path, "looks", "2.0", {"step kind": {"look": "looks:Look_"}}, looks=source)
    with installed(tmp_path):
        code, said = checked(tmp_path, "  - look: around\n")
    assert code == 7
    assert "step kind 'look' of looks 2.0 raised IndexError: list index out of range (looks.py:8)" in said


# --- a station


def test_names_of_packages_are_compared_as_indexes_do() -> None:
    assert canonical("A.b__C") == "a-b-c"
    assert is_forbidden("Bench_Scale", ["call", "package:bench-scale"])
    assert not is_forbidden("bench-scale", ["call", "package:bench"])
    assert is_forbidden("anything", ["packages"])


@pytest.mark.parametrize(
    ("forbid", "code"), [("packages", 7), ("package:Drifting", 7), ("package:another", 0), ("call", 0)]
)
def test_a_station_forbids_a_step_of_which_nothing_is_imported(
    packages: Path, tmp_path: Path, forbid: str, code: int
) -> None:
    (tmp_path / "station.yaml").write_text(f"station: one\nforbid: ['{forbid}']\n")
    (tmp_path / "device.yaml").write_text(SOUND, encoding="utf-8")
    done, said = checked(tmp_path, STEP, "--station", "station.yaml")
    ran = here("run", "plan.yaml", "--station", "station.yaml", "--radio", "virtual:device.yaml", "--acknowledge", cwd=tmp_path)  # fmt: skip
    assert (done, ran.returncode) == (code, code)
    assert ("drifting_steps" in sys.modules) == (code == 0)
    assert ("this station forbids what drifting 1.2 brings: the step kind 'drift'" in said) == (code == 7)
    assert bool([*tmp_path.glob("results/*")]) == (code == 0)


def test_a_run_looks_once_more(packages: Path) -> None:
    from benchrig.station.station import Station

    ran = run(plan_text(STEP), SOUND, station=Station("one", forbid=["package:drifting"]))  # type: ignore[list-item]
    assert (ran.ended.cause, "this station forbids drift steps" in ran.ended.message) == ("station", True)


def test_what_is_forbidden_is_a_known_word(tmp_path: Path) -> None:
    (tmp_path / "station.yaml").write_text("station: one\nforbid: [package, comand]\n")
    code, said = checked(tmp_path, "  - read: temperature\n", "--station", "station.yaml")
    assert code == 4
    assert said.count("expected what is forbidden") == 2
    assert "did you mean 'command'" in said


# --- reports


@pytest.fixture
def smoke(tmp_path: Path) -> Callable[..., tuple[int, str]]:
    """Run a plan that passes; exit code, and what was said beside the results."""
    (tmp_path / "device.yaml").write_text(SOUND, encoding="utf-8")
    (tmp_path / "plan.yaml").write_text(
        plan_text("  - read: temperature\n    expect: {value: {min: 0 °C}}\n"), encoding="utf-8"
    )

    def run_it(*more: str) -> tuple[int, str]:
        done = here("run", "plan.yaml", "--radio", "virtual:device.yaml", *more, cwd=tmp_path)
        return done.returncode, done.stderr

    return run_it


def test_a_report_of_a_package(packages: Path, tmp_path: Path, smoke: Callable[..., tuple[int, str]]) -> None:
    helped = " ".join(here("run", "--help", cwd=tmp_path).stdout.split())
    assert "--tally FILE Also count the steps. [drifting 1.2]" in helped
    assert smoke("--tally", "mine.txt")[0] == 0
    [kept] = tmp_path.glob("results/*/tally.txt")
    assert kept.read_text() == (tmp_path / "mine.txt").read_text() == "tally of 'a plan': 3 steps"
    (tmp_path / "station.yaml").write_text("station: one\nforbid: [packages]\n")
    code, said = smoke("--station", "station.yaml", "--tally", "mine.txt")
    assert (code, "this station forbids what drifting 1.2 brings: --tally" in said) == (7, True)
    assert smoke("--station", "station.yaml")[0] == 0
    assert len([*tmp_path.glob("results/*/tally.txt")]) == 1


REPORT = "from benchrig.extend import Report\nREPORT = Report({!r}, '.txt', {!r}, 'Help.', lambda record: {}, b'x')\n"


@pytest.mark.parametrize(
    ("name", "source", "said"),
    [
        ("broken", "1 / 0", "ZeroDivisionError"),
        ("junit", REPORT.format("junit", "--junit", "b'x'"), "'junit' is a word of benchrig"),
        ("csv", REPORT.format("csv", "--csv", "b'x'"), "'csv' is a word of benchrig"),
        ("seed", REPORT.format("seed", "--seed", "b'x'"), "--seed is an option of benchrig"),
        ("other", REPORT.format("another", "--tally", "b'x'"), "its option is '--tally', not '--other'"),
    ],
)
def test_a_report_that_does_not_fit_is_told_and_left_out(
    tmp_path: Path, smoke: Callable[..., tuple[int, str]], name: str, source: str, said: str
) -> None:
    write(tmp_path / "packages", "papers", "5", {"report": {name: "papers:REPORT"}}, papers=source)
    with installed(tmp_path / "packages"):
        code, told = smoke()
        assert (code, f"report '{name}' of papers 5 cannot be used" in told, said in told) == (0, True, True)
        assert len([*tmp_path.glob("results/*/record.jsonl")]) == 1
        listed = here("packages", cwd=tmp_path)
        assert (listed.returncode, said in listed.stdout) == (7, True)
        if name in ("broken", "other"):
            code, told = smoke(f"--{name}", "mine.txt")
            assert (code, "cannot be used" in told) == (7, True)
        if name in ("junit", "csv"):  # that of benchrig is written all the same
            assert smoke(f"--{name}", f"mine.{name}")[0] == 0
            assert (tmp_path / f"mine.{name}").exists()


@pytest.mark.parametrize(
    ("made", "said"), [("1 / 0", "raised ZeroDivisionError"), ("'text'", "it made a str, not bytes")]
)
def test_a_run_whose_report_cannot_be_made(
    tmp_path: Path, smoke: Callable[..., tuple[int, str]], made: str, said: str
) -> None:
    source = REPORT.format("paper", "--paper", made)
    write(tmp_path / "packages", "papers", "5", {"report": {"paper": "papers:REPORT"}}, papers=source)
    with installed(tmp_path / "packages"):
        code, told = smoke()
    assert (code, said in told, "papers 5" in told) == (7, True, True)
    [folder] = (path.parent for path in tmp_path.glob("results/*/junit.xml"))
    assert not (folder / "paper.txt").exists()


# --- rules


def inspected(folder: Path, *more: str) -> tuple[int, str, str]:
    (folder / "device.yaml").write_text(SOUND, encoding="utf-8")
    done = here("inspect", "--radio", "virtual:device.yaml", *more, cwd=folder)
    return done.returncode, done.stdout, done.stderr


def test_rules_of_a_package(packages: Path, tmp_path: Path) -> None:
    code, out, _ = inspected(tmp_path, "--strict")
    assert (code, NAMED in out) == (0, True)
    (tmp_path / "station.yaml").write_text("station: one\nforbid: [packages]\n")
    assert NAMED not in inspected(tmp_path, "--station", "station.yaml")[1]


@pytest.mark.parametrize(
    ("body", "told", "noted"),
    [("yield 1 / 0", "rules 'signs' of signs 1 raised ZeroDivisionError", True), ("", "rules 'signs' of signs 1 cannot be used", False)],
)  # fmt: skip
def test_rules_that_break_off_or_do_not_fit_are_told_and_strictly_no_pass(
    tmp_path: Path, body: str, told: str, noted: bool
) -> None:
    rule = f"@FAMILY.rule('error', 'us')\ndef sign(look):\n    'A sign.'\n    {body}\n" if body else ""
    source = f"from benchrig.extend import *\nFAMILY = Family('signs')\n{rule}"
    write(tmp_path / "packages", "signs", "1", {"rules": {"signs": "signs:FAMILY"}}, signs=source)
    with installed(tmp_path / "packages"):
        code, out, said = inspected(tmp_path)
        strictly = inspected(tmp_path, "--strict")[0]
    assert (code, told in said, "not looked at" in out, strictly) == (0, True, noted, 7)


# --- what is installed


def test_the_list_says_what_is_there_and_from_whom(packages: Path, tmp_path: Path) -> None:
    done = here("packages", cwd=tmp_path)
    assert done.returncode == 0, done.stdout
    assert "step kind drift  drifting 1.2\n  Read a number twice, with" in done.stdout
    assert "keys: drift, over" in done.stdout
    (tmp_path / "station.yaml").write_text("station: one\nforbid: ['package:drifting']\n")
    data = json.loads(here("packages", "--json", "--station", "station.yaml", cwd=tmp_path).stdout)["packages"]
    assert [(each["name"], each["forbidden"]) for each in data] == [("drift", True), ("tally", True), ("labels", True)]


def test_nothing_is_looked_for_where_benchrigs_own_words_do(packages: Path, tmp_path: Path) -> None:
    assert checked(tmp_path, "  - read: temperature\n")[0] == 0
    assert here("--help", cwd=tmp_path).returncode == 0
    assert extensions.cache_info().currsize == 0


def test_the_names_for_packages_are_there_and_in_the_reference() -> None:
    assert all(getattr(benchrig.extend, name) is not None for name in benchrig.extend.__all__)
    listed = re.findall(
        r"^\| (`.*`) \| ", PAGE.partition("from `benchrig.extend`")[2].partition("## ")[0], re.MULTILINE
    )
    assert {*re.findall(r"`(\w+)`", " ".join(listed))} == {*benchrig.extend.__all__}
    with pytest.raises(AttributeError, match="no attribute 'Composite'"):
        benchrig.extend.Composite  # noqa: B018


@pytest.mark.slow
@pytest.mark.timeout(200)
def test_the_package_of_the_reference_is_typed(tmp_path: Path) -> None:
    for name, text in MODULES.items():
        (tmp_path / name).write_text(text)
    command = [sys.executable, "-m", "mypy", "--strict", *MODULES]
    done = subprocess.run(
        command, cwd=tmp_path, env={**os.environ, "MYPYPATH": str(PROJECT)}, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout
