"""`benchrig escapes`."""

from __future__ import annotations

import json
import os
import signal
import subprocess
from pathlib import Path

import pytest
from lxml import etree

from benchrig.cli.escapes_text import EscapesPage
from benchrig.cli.types import Share
from benchrig.escapes.results import About, Hunted, Outcome, Result, from_json
from benchrig.faults.fault import Weight
from tests.cli.kit import COMMAND, environment, here
from tests.escapes.kit import written
from tests.report.schemas import errors
from tests.run.kit import DEVICES, PLANS, plan_text

RADIO = ("--radio", "virtual:device.yaml")
MISSING = "humidity: missing"


def escapes(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return here("escapes", "plan.yaml", *RADIO, *words, cwd=folder)


def test_the_table_the_json_and_junit_say_the_same(tmp_path: Path) -> None:
    written(tmp_path)
    done = escapes(tmp_path, "--families", "advertising", "--cache", "kept", "--json", "--junit", "out.xml")
    hunted = from_json(done.stdout.encode())
    assert done.returncode == 1
    assert (hunted.plan_file, hunted.device, len(hunted.results)) == ("plan.yaml", "unit 1", hunted.asked)
    document = (tmp_path / "out.xml").read_bytes()
    assert errors(document, "junit-10") == []
    [suite] = etree.fromstring(document)
    counts = hunted.counts
    assert (int(suite.get("tests")), int(suite.get("failures"))) == (hunted.asked, counts["escaped"])
    told = escapes(tmp_path, "--families", "advertising", "--cache", "kept").stdout
    assert f"ESCAPED  {counts['escaped']}" in told
    assert f"CAUGHT  {counts['caught']}, by the step that noticed first" in told
    assert told.splitlines()[-1].startswith(f"{counts['caught']} of {hunted.judged} faults caught, ")
    assert told.index("ESCAPED") < told.index("CAUGHT")


def test_very_many_escapes_are_told_by_what_is_broken(capsys: pytest.CaptureFixture[str]) -> None:
    def escape(name: str, outcome: Outcome = "escaped", weight: Weight = "serious") -> Result:
        return Result(About(name, "value", weight, f"It is {name}.", ["device"]), outcome)

    one = [escape(f"note: kind {number}") for number in range(26)]
    both = [escape("command: answer resets", weight="grave"), escape("command: late", "caught")]
    EscapesPage().show(
        Hunted(1, "p", "p.yaml", "", "", "d", ["d.yaml"], "", "", [0], {}, [], 28, [*both, *one]), at_length=False
    )
    said = " ".join(capsys.readouterr().out.split())
    assert "ESCAPED 27: 1 grave, 26 serious" in said
    assert f"serious note: {', '.join(f'kind {number}' for number in range(26))}" in said
    assert "Nothing notices any fault of: note (26)." in said
    assert "It is note" not in said


def test_the_page_takes_the_place_of_an_earlier_one_alone(tmp_path: Path) -> None:
    written(tmp_path)
    (tmp_path / "page.html").write_text("<h1>minutes</h1>")
    refused = escapes(tmp_path, "--fault", MISSING, "--page", "page.html")
    assert (refused.returncode, (tmp_path / "page.html").read_text()) == (4, "<h1>minutes</h1>")
    (tmp_path / "page.html").unlink()
    for name in (MISSING, "temperature: missing"):
        assert escapes(tmp_path, "--fault", name, "--page", "page.html").returncode == 0
    said = (tmp_path / "page.html").read_text("utf-8")
    assert "1 of 1 fault caught" in said
    assert "attribute &#39;temperature&#39;" in said or "attribute 'temperature'" in said


@pytest.mark.parametrize(
    ("under", "code"), [("100 %", 1), *(pytest.param(low, 0, marks=pytest.mark.slow) for low in ("1 %", "0"))]
)
def test_how_many_have_to_be_caught(tmp_path: Path, under: str, code: int) -> None:
    written(tmp_path)
    assert escapes(tmp_path, "--families", "advertising", "--fail-under", under).returncode == code


def test_one_fault_is_told_at_length_and_its_device_runs(tmp_path: Path) -> None:
    written(tmp_path)
    done = escapes(tmp_path, "--fault", MISSING, "--keep", "broken.yaml")
    assert done.returncode == 0
    assert "step 4 read humidity: the device has no attribute 'humidity'" in done.stdout
    ran = here("run", "plan.yaml", "--radio", "virtual:broken.yaml", "-q", cwd=tmp_path)
    assert (ran.returncode, "has no attribute 'humidity'" in ran.stdout) == (1, True)


def test_the_list_is_of_all_that_can_be_named(tmp_path: Path) -> None:
    written(tmp_path)
    faults = json.loads(escapes(tmp_path, "--list", "--json").stdout)["faults"]
    assert MISSING in {each["name"] for each in faults}
    listed = escapes(tmp_path, "--list").stdout
    assert listed.splitlines()[-1].startswith(f"{len(faults)} faults: advertising ")


def test_a_pair_with_one_fault_of_the_unit_is_not_harmless(tmp_path: Path) -> None:
    written(tmp_path)
    done = escapes(tmp_path, "--fault", "bench: foreign units + pressure: missing", "--json")
    assert (done.returncode, from_json(done.stdout.encode()).counts) == (1, {"escaped": 1})


def test_a_share_is_the_one_that_is_written() -> None:
    read = [Share().read(f"{tenths / 10:g} %") for tenths in range(1001)]
    assert read == [tenths / 1000 for tenths in range(1001)]


def test_two_at_once(tmp_path: Path) -> None:
    written(tmp_path)
    hunted = from_json(escapes(tmp_path, "--pairs", "3", "--seed", "5", "--json").stdout.encode())
    assert len(hunted.results) == 3
    assert all(" + " in each.fault.name for each in hunted.results)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--fault", "humidity: mising"], "unknown fault 'humidity: mising' of 'unit 1'"),
        (["--families", "tabel"], "unknown family of faults 'tabel'"),
        (["--fault", MISSING, "--pairs", "2"], "--fault and --pairs exclude each other"),
        (["--keep", "x.yaml"], "--keep goes with one --fault"),
        (["--radio", "host"], "only a simulated device can be broken"),
        (["--fail-under", "101 %"], "expected a percentage from 0 to 100 %"),
        (["--argued", "none.yaml"], "none.yaml:1:1: cannot be read"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, words: list[str], told: str) -> None:
    written(tmp_path)
    done = escapes(tmp_path, *words)
    assert (done.returncode, told in done.stderr, done.stdout) == (4, True, "")


def test_a_plan_that_the_sound_device_fails_and_one_that_runs_programs_end_it(tmp_path: Path) -> None:
    written(tmp_path, "  - read: humidity\n    expect: {value: {max: 10 %}}\n")
    done = escapes(tmp_path, "--json")
    assert (done.returncode, json.loads(done.stdout)["cause"]) == (4, "plan")
    assert "does not pass the sound device" in done.stderr
    written(tmp_path, "  - command: ['true']\n    expect: {exit_code: {equals: 0}}\n")
    assert "would run for each fault" in escapes(tmp_path).stderr
    assert escapes(tmp_path, "--acknowledge", "--fault", MISSING).returncode == 1


def test_no_program_of_a_plan_that_escapes_are_left_to_runs_unasked(tmp_path: Path) -> None:
    """And nothing is tried before that is said."""
    written(tmp_path)
    touch = "  - command: [touch, ran]\n    expect: {exit_code: {equals: 0}}\n"
    (tmp_path / "nightly.yaml").write_text(plan_text(touch), encoding="utf-8")
    (tmp_path / "argued.yaml").write_text(
        "plan: plan.yaml\ndevice: device.yaml\nargued:\n  - {faults: 'pressure: *', left_to: nightly.yaml, why: a, by: b, date: '2026-11-27'}\n",
        encoding="utf-8",
    )
    words = ("--argued", "argued.yaml", "--fault", "pressure: missing")
    done = escapes(tmp_path, *words)
    assert (done.returncode, "nightly.yaml runs other programs" in done.stderr) == (4, True)
    assert not (tmp_path / "ran").exists()
    assert escapes(tmp_path, *words, "--acknowledge").returncode == 1
    assert (tmp_path / "ran").exists()


def test_what_a_hunt_reads_and_what_is_there_is_not_written_over(tmp_path: Path) -> None:
    written(tmp_path)
    sound = (tmp_path / "device.yaml").read_text("utf-8")
    for words, told in ((("--keep", "device.yaml", "--force"), "name the same file"), (("--keep", "kept"), "exists")):
        (tmp_path / "kept").write_text("mine")
        done = escapes(tmp_path, "--fault", MISSING, *words)
        assert (done.returncode, told in done.stderr) == (4, True)
    assert ((tmp_path / "device.yaml").read_text("utf-8"), (tmp_path / "kept").read_text()) == (sound, "mine")
    assert escapes(tmp_path, "--fault", MISSING, "--keep", "kept", "--force").returncode == 0
    words = ("rejects", "plan.yaml", *RADIO, "--unit", "1", "--keep", "device.yaml", "--force")
    assert here(*words, cwd=tmp_path).returncode == 4
    assert (tmp_path / "device.yaml").read_text("utf-8") == sound


@pytest.mark.slow
def test_an_interrupted_hunt_says_what_there_is(tmp_path: Path) -> None:
    """Ctrl-C reaches every process of a terminal."""
    words = [
        "escapes",
        str(PLANS / "nightly_regression.yaml"),
        "--radio",
        f"virtual:{DEVICES / 'logger.yaml'}",
        "--json",
    ]
    began = tmp_path / "began"
    process = subprocess.Popen(
        [*COMMAND, *words, "--cache", str(began)],
        stdout=subprocess.PIPE,
        text=True,
        env=environment(),
        start_new_session=True,
    )
    while process.poll() is None and len(_children(process.pid)) < 1:
        pass
    os.killpg(process.pid, signal.SIGINT)
    out, _ = process.communicate(timeout=30)
    hunted = from_json(out.encode())
    assert (process.returncode, hunted.interrupted) == (2, True)
    assert len(hunted.results) < hunted.asked


def _children(pid: int) -> list[str]:
    return Path(f"/proc/{pid}/task/{pid}/children").read_text("utf-8").split()
