"""Several plans in a call of `benchrig run`: which, in which order, and what they come to together."""

from __future__ import annotations

import contextlib
import csv
import signal
import subprocess
from pathlib import Path

import pytest
from junitparser import JUnitXml
from lxml import etree

from benchrig.record.journal import read_record
from tests.cli.kit import COMMAND, PATIENCE, environment, here, wait_for
from tests.cli.screen import attended
from tests.report.schemas import errors
from tests.run.kit import device_text, plan_text

UNIT = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: {noise: {mean: 21 °C, sd: 1 °C}}}
      - {characteristic: humidity, properties: [read, write], value: 40 %}
  - service: device information
    characteristics:
      - {characteristic: firmware revision string, properties: [read], value: 3.2.1}
"""
READ = "  - read: temperature\n    expect: {value: {min: 0 °C}}\n  - read: firmware revision string\n"
COLD = "  - read: temperature\n    expect: {value: {max: 0 °C}}\n"
CHANCE = "  - read: temperature\n    expect: {value: {max: 21 °C}}\n"
WRITE = "  - write: humidity\n    value: 30 %\n    expect: {elapsed: {max: 1 s}}\n"
GIVEN = "  - read: temperature\n    name: 'read of ${NAME}'\n    expect: {value: {min: 0 °C}}\n"
RADIO = ("--radio", "virtual:device.yaml")


def bench(folder: Path, **plans: str) -> None:
    """plans/NAME.yaml with these steps (of the first word of a text, what is before '|' is the head), and a device."""
    (folder / "plans").mkdir()
    for name, steps in plans.items():
        head, _, rest = steps.rpartition("|")
        text = plan_text(rest, head=head).replace("plan: a plan", f"plan: plan {name}")
        (folder / f"plans/{name}.yaml").write_text(text, encoding="utf-8")
    (folder / "device.yaml").write_text(device_text(UNIT), encoding="utf-8")


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return here("run", *words, *RADIO, cwd=folder)


def given(name: str, limit: str = "") -> str:
    return f"given: {{{name}: {{{limit}}}}}\n|" + GIVEN.replace("NAME", name)


def index(folder: Path) -> list[dict[str, str]]:
    with (folder / "results/index.csv").open(newline="", encoding="utf-8") as file:
        return [*csv.DictReader(file)]


@pytest.mark.parametrize("dialect", ["junit-10", "ant"])
def test_a_folder_of_plans(tmp_path: Path, dialect: str) -> None:
    bench(tmp_path, b=COLD, a=READ, c="  - read: temperature\n")
    (tmp_path / "plans/names.yaml").write_text("attributes: {}\n")
    done = run(tmp_path, "plans", "--junit", "j.xml", "--junit-dialect", dialect, "--csv", "r.csv", "--summary", "s.md")
    assert done.returncode == 1, done.stderr
    assert done.stderr == "benchrig: left alone, since they are not plans: plans/names.yaml\n"
    assert "FAIL, SIMULATED: 3 runs: 1 passed, 1 failed, 1 not judged (exit code 1)" in done.stdout
    rows = [line.split()[:2] for line in done.stdout.partition("plan          verdict")[2].splitlines()[1:4]]
    assert rows == [
        ["plans/a.yaml", "pass"],
        ["plans/b.yaml", "fail"],
        ["plans/c.yaml", "nothing"],
    ]
    document = (tmp_path / "j.xml").read_bytes()
    assert errors(document, dialect) == []
    suites = {each.get("name"): each for each in etree.fromstring(document)}
    assert list(suites) == ["plan a", "plan b", "plan c"]
    for folder, suite in zip(index(tmp_path), suites.values(), strict=True):
        [alone] = etree.parse(tmp_path / "results" / folder["folder"] / "junit.xml").getroot()
        suite.set("id", "0") if dialect == "ant" else None
        assert [each.attrib for each in suite.iter()] == [each.attrib for each in alone.iter()]
    rows = (tmp_path / "r.csv").read_text(encoding="utf-8").splitlines()
    assert sum(row.startswith("run_id,") for row in rows) == 1
    assert [{row.split(",")[2] for row in rows[1:]}] == [{"plan a", "plan b", "plan c"}]
    assert [(each["plan"], each["exit_code"]) for each in index(tmp_path)] == [
        ("plan a", "0"),
        ("plan b", "1"),
        ("plan c", "5"),
    ]
    summary = (tmp_path / "s.md").read_text(encoding="utf-8")
    assert "firmware: 3.2.1" in summary
    assert "- `plans/b.yaml`, step 3 read temperature: " in summary
    assert run(tmp_path, "plans", "--summary", "s.md", "-q").returncode == 1, "an earlier summary is replaced"


def test_quiet_is_the_end_alone_and_a_folder_with_one_plan_is_that_plan(tmp_path: Path) -> None:
    bench(tmp_path, a=READ, b=COLD)
    done = run(tmp_path, "-q", "plans")
    assert done.stdout.split("\n")[0].split() == ["plan", "verdict", "cause", "time", "folder"]
    assert "plans/b.yaml: step 3 read temperature: fail (limit): " in done.stdout
    narrow = here("run", "-q", "plans", *RADIO, cwd=tmp_path, env={"COLUMNS": "60"}).stdout.splitlines()
    assert narrow[:2] == ["plans/a.yaml", f"    pass  {narrow[1].split()[1]} s"]
    assert max(map(len, narrow)) <= 60
    (tmp_path / "plans/b.yaml").unlink()
    alone, folder = (run(tmp_path, words, "-q").stdout.splitlines() for words in ("plans/a.yaml", "plans"))
    assert alone[0] == folder[0]
    assert [line.partition(":")[0] for line in folder] == ["PASS, SIMULATED", "record"]


def test_the_mistakes_of_all_are_told_before_the_first_is_run(tmp_path: Path) -> None:
    bench(tmp_path, a=READ, b=COLD.replace("temperature", "temprature"), c=READ.replace("min", "mni"), d=given("lot"))
    (tmp_path / "j.xml").write_text("<testsuites/>")
    done = run(tmp_path, "plans", "--junit", "j.xml")
    assert (done.returncode, done.stdout) == (4, "")
    for said in (
        "plans/b.yaml:8:11: unknown attribute",
        "plans/c.yaml:9:22: unknown key 'mni'",
        "needs a value for 'lot'",
    ):
        assert said in done.stderr
    assert "\n3 problems; nothing was run.\n" in done.stderr
    assert not (tmp_path / "results").exists()
    assert not (tmp_path / "j.xml").exists(), "yesterday's report is gone"


def test_each_plan_takes_the_values_and_limits_that_it_has(tmp_path: Path) -> None:
    bench(tmp_path, a=READ, b=given("lot"), c=given("box", "matches: 'B\\d'"))
    (tmp_path / "station.yaml").write_text("station: s\ngiven: {lot: '7', other: x}\n")
    words = ("plans", "-q", "--station", "station.yaml", "--set")
    done = run(tmp_path, *words, "box=B1", "--may-lack", "read.value")
    assert done.returncode == 0, done.stderr
    assert [read_record(path).run.given for path in sorted(tmp_path.glob("results/*/record.jsonl"))] == [
        {},
        {"lot": "7"},
        {"box": "B1"},
    ]
    done = run(tmp_path, *words, "bax=B1")
    assert done.returncode == 4
    assert "--set: none of the plans has a given value 'bax'\n  did you mean 'box'?" in done.stderr
    done = run(tmp_path, *words, "box=B1", "--may-lack", "scan.rsi")
    assert "--may-lack: none of the plans has a limit 'scan.rsi'" in done.stderr
    assert "'X' does not match" in run(tmp_path, *words, "box=X").stderr


def test_a_value_that_several_lack_is_asked_for_once_and_fits_all(tmp_path: Path) -> None:
    bench(tmp_path, a=given("lot"), b=given("lot", "matches: 'B\\d'"))
    with contextlib.chdir(tmp_path):
        done, terminal = attended("run", "plans", *RADIO, "-q", script=[("lot:", "7\n"), ("lot:", "B7\n")])
    assert terminal.is_done
    assert (done.exit_code, {each["exit_code"] for each in index(tmp_path)}) == (0, {"0"})
    assert done.stderr.count("values are needed") == 2


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["plans", "--only", "scan"], "--only goes with one plan, and this call has 2"),
        (["plans", "--from", "scan"], "--from goes with one plan, and this call has 2"),
        (["plans", "--device", "left=U"], "--device NAME= goes with one plan, and this call has 2"),
        (["plans/a.yaml", "--repeat", "2", "--capture", "c"], "--capture goes with one run, and this call has 2"),
        (["plans/a.yaml", "plans"], "plans/a.yaml:1:1: this plan is named twice"),
        (["plans", "--summary", "device.yaml"], "the file exists and is not an earlier report"),
        (["plans", "--summary", "x", "--junit", "x"], "--summary and --junit name the same file"),
        (["plans", "--repeat", "0"], "--repeat"),
        (["."], "plans/broken.yaml:1:1"),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_refused(tmp_path: Path, words: list[str], message: str) -> None:
    bench(tmp_path, a=READ, b=COLD)
    if words == ["."]:
        (tmp_path / "plans/broken.yaml").write_text("device: {}\nsteps: []\n")
    done = run(tmp_path, *words)
    assert (done.returncode, done.stdout) == (4, "")
    assert message in done.stderr
    assert not (tmp_path / "results").exists()


def test_repetitions_have_seeds_of_their_own_and_show_what_is_flaky(tmp_path: Path) -> None:
    bench(tmp_path, a=READ, b=CHANCE)
    done = run(tmp_path, "plans", "-q", "--repeat", "4", "--seed", "10", "--junit", "j.xml", "--summary", "s.md")
    runs = [read_record(path) for path in sorted(tmp_path.glob("results/*b*/record.jsonl"))]
    assert sorted((each.run.seed or 0) for each in runs) == [10, 11, 12, 13]
    passed = sum(each.ended.verdict == "pass" for each in runs if each.ended)
    assert 0 < passed < 4
    assert done.returncode == 1
    assert f"plans/b.yaml  flaky    {passed} of 4  limit" in done.stdout
    assert "; flaky: plans/b.yaml (exit code 1)" in done.stdout
    names = [suite.name for suite in JUnitXml.fromfile(str(tmp_path / "j.xml"))]
    assert names == [f"plan {plan}{times}" for times in ("", " (2)", " (3)", " (4)") for plan in "ab"]
    classes = [case.classname for suite in JUnitXml.fromfile(str(tmp_path / "j.xml")) for case in suite]
    assert "plan b (3).steps" in classes
    assert f"| `plans/b.yaml` | **flaky** | {passed} of 4 |" in (tmp_path / "s.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("stop_on", "codes", "code"),
    [("error", ["1", "0", "5"], 1), ("fail", ["1"], 1)],
)
def test_what_is_not_run_is_in_every_report_and_never_green(
    tmp_path: Path, stop_on: str, codes: list[str], code: int
) -> None:
    bench(tmp_path, a=COLD, b=READ, c="  - read: temperature\n", d=READ)
    done = run(tmp_path, "plans", "--stop-on", stop_on, "--junit", "j.xml", "--csv", "r.csv", "--summary", "s.md")
    assert done.returncode == code
    assert [each["exit_code"] for each in index(tmp_path)] == codes
    suites = JUnitXml.fromfile(str(tmp_path / "j.xml"))
    last = [*suites][-1]
    assert (len([*suites]), last.name, last.errors) == (4, "plan d", 1)
    assert errors((tmp_path / "j.xml").read_bytes(), "junit-10") == []
    said = (
        f"this plan was not run: --stop-on {stop_on}, and plans/{'a' if stop_on == 'fail' else 'c'}.yaml did not pass"
    )
    for file in ("j.xml", "r.csv"):
        assert said in (tmp_path / file).read_text(encoding="utf-8")
    assert "**not run**" in (tmp_path / "s.md").read_text(encoding="utf-8")
    assert f"plans/d.yaml: the run: error (operator): {said}" in " ".join(done.stdout.split())


def test_a_run_that_cannot_begin_does_not_keep_the_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from benchrig import launch
    from benchrig.errors import StationError

    bench(tmp_path, a=READ, b=READ, c=READ)
    begin = launch.launch

    def refusing(options, *more):
        if options.plan.name == "plan b":
            raise StationError("there is no room")
        return begin(options, *more)

    monkeypatch.setattr(launch, "launch", refusing)
    done = run(tmp_path, "plans", "-q", "--junit", "j.xml")
    assert done.returncode == 7
    assert "benchrig: there is no room" in done.stderr
    assert "ERROR, SIMULATED: 3 runs: 2 passed, 1 not run (exit code 7)" in done.stdout
    assert [suite.errors for suite in JUnitXml.fromfile(str(tmp_path / "j.xml"))] == [0, 1, 0]


def test_a_report_that_cannot_be_written_is_no_pass(tmp_path: Path) -> None:
    bench(tmp_path, a=READ, b=READ)
    done = run(tmp_path, "plans", "-q", "--junit", "/dev/full")
    assert done.returncode == 7
    assert "/dev/full" in done.stderr


@pytest.mark.slow
def test_ctrl_c_ends_the_run_at_hand_in_order_and_leaves_out_the_others(tmp_path: Path) -> None:
    bench(tmp_path, a=COLD, b=READ + "  - wait: 100 s\nfinally:\n  - read: temperature\n", c=READ)
    command = [*COMMAND, "run", "plans", *RADIO, "--real-time", "--junit", "j.xml"]
    with subprocess.Popen(
        command, cwd=tmp_path, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        wait_for(tmp_path, '"event":"opened","where":{"node":"5"}')
        process.send_signal(signal.SIGINT)
        output, _ = process.communicate(timeout=PATIENCE)
    assert process.returncode == 2, "whatever the first came to"
    assert [each["exit_code"] for each in index(tmp_path)] == ["1", "2"]
    assert "3 runs: 1 failed, 1 in error, 1 not run (exit code 2)" in output
    assert "this plan was not run: the call was interrupted before" in " ".join(output.split())
    assert len([*JUnitXml.fromfile(str(tmp_path / "j.xml"))]) == 3
    record = read_record(tmp_path / "results" / index(tmp_path)[1]["folder"] / "record.jsonl")
    assert record.steps[-1].ended is not None
    assert record.steps[-1].ended.verdict == "pass", "the clean-up was done"


def test_each_repetition_draws_its_random_values_anew_and_the_same_as_alone(tmp_path: Path) -> None:
    bench(tmp_path, a="given: {lot: {random: {text: 8}}}\n|" + GIVEN.replace("NAME", "lot"))
    assert run(tmp_path, "plans", "-q", "--repeat", "2", "--seed", "5").returncode == 0
    assert run(tmp_path, "plans", "-q", "--seed", "6").returncode == 0
    first, second, alone = (
        read_record(tmp_path / "results" / each["folder"] / "record.jsonl").run for each in index(tmp_path)
    )
    assert first.given != second.given
    assert (second.given, second.seed) == (alone.given, 6)


def test_each_plan_asks_for_its_caution(tmp_path: Path) -> None:
    bench(tmp_path, a="caution: Mind A.\n|" + WRITE, b=READ, c="caution: Mind C.\n|" + WRITE)
    done = run(tmp_path, "plans", "-q")
    assert (done.returncode, [each["exit_code"] for each in index(tmp_path)]) == (2, ["2", "0", "2"])
    assert run(tmp_path, "plans", "-q", "--acknowledge").returncode == 0
