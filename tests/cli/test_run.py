"""`benchrig run`: exit codes, files, and where it says what."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from junitparser import JUnitXml

from tests.cli.kit import RUN_FILES, Files, Start, benchrig, files, here
from tests.run.kit import DEVICES, PLANS

READ = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"
COLD = "  - read: temperature\n    expect: {value: {max: 0 °C}}\n"
WRITE = "  - write: temperature\n    value: 1 °C\n    expect: {elapsed: {max: 1 s}}\n"
CAUTION = "caution: Mind the relay.\n"
SERIAL = "given: {serial: {matches: 'A\\d+'}}\n"
USES_SERIAL = READ + "  - read: temperature\n    name: '${serial}'\n"
# no bus there: the host radio cannot be opened, whatever this machine has
NO_BUS = {"DBUS_SYSTEM_BUS_ADDRESS": "unix:path=/nonexistent/bus"}


def run(bench: Files, *more: str | Path, env: dict[str, str] | None = None):
    return here("run", "plan.yaml", "--radio", bench.radio, *more, cwd=bench.folder, env=env)


def unwrapped(output: str) -> str:
    return " ".join(output.split())


@pytest.mark.parametrize("start", [benchrig, here])
def test_0_when_the_unit_passed(tmp_path: Path, start: Start) -> None:
    done = start("run", "plan.yaml", "--radio", files(tmp_path, READ).radio, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "PASS, SIMULATED: all limits held (exit code 0)" in done.stdout
    assert {path.name for path in tmp_path.glob("results/*/*")} == RUN_FILES


@pytest.mark.parametrize("start", [pytest.param(benchrig, marks=pytest.mark.slow), here])
def test_1_when_the_unit_failed(tmp_path: Path, start: Start) -> None:
    done = start("run", "plan.yaml", "--radio", files(tmp_path, COLD).radio, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (1, "")
    assert "21.5 °C is above the maximum 0 °C by 21.5 °C" in done.stdout


def test_2_when_nobody_acknowledged_the_caution(tmp_path: Path) -> None:
    bench = files(tmp_path, WRITE, head=CAUTION)
    done = run(bench)
    assert (done.returncode, done.stderr) == (2, "")
    assert "nobody acknowledged the caution (no terminal): Mind the relay." in unwrapped(done.stdout)
    assert "--acknowledge" in done.stdout
    assert run(bench, "--acknowledge").returncode == 0


def test_4_for_a_mistake_in_the_plan_and_nothing_is_left_behind(tmp_path: Path) -> None:
    done = run(files(tmp_path, READ.replace("temperature", "temprature")))
    assert (done.returncode, done.stdout) == (4, "")
    assert "plan.yaml:8:11: unknown attribute 'temprature'" in done.stderr
    assert "temperature" in done.stderr.partition("did you mean")[2]
    assert not (tmp_path / "results").exists()


@pytest.mark.parametrize(
    ("device", "message"),
    [
        ("device: x\nservces: []\n", "device.yaml:2:1: unknown key 'servces'"),
        (None, "device.yaml:1:1: cannot be read: No such file or directory"),
    ],
)
def test_4_for_a_bad_device_file_and_nothing_is_left_behind(tmp_path: Path, device: str | None, message: str) -> None:
    bench = files(tmp_path, READ)
    (tmp_path / "device.yaml").unlink()
    if device:
        (tmp_path / "device.yaml").write_text(device, encoding="utf-8")
    done = run(bench)
    assert (done.returncode, done.stdout) == (4, "")
    assert message in done.stderr
    assert not (tmp_path / "results").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["missing.yaml", "--radio", "virtual:device.yaml"], "missing.yaml"),
        (["plan.yaml", "--radio", "walkie:talkie"], "unknown radio 'walkie:talkie'"),
        (["plan.yaml", "--radio", "virtual:"], "a virtual radio needs its device files"),
        (["plan.yaml", "--radio", "virtual:device.yaml", "--only", "nothing"], "the plan has no step 'nothing'"),
        (["plan.yaml", "--radio", "virtual:device.yaml", "--set", "serial"], "expected NAME=VALUE, found 'serial'"),
        (["plan.yaml", "--radio", "virtual:device.yaml", "--set", "a=1", "--set", "a=2"], "'a' is set twice"),
        (["plan.yaml", "--radio", "virtual:device.yaml", "--set", "a=1"], "the plan has no given value 'a'"),
        (["plan.yaml", "--radio", "virtual:device.yaml", "--station", "none.yaml"], "none.yaml"),
    ],
)
def test_4_for_an_impossible_command(tmp_path: Path, arguments: list[str], message: str) -> None:
    files(tmp_path, READ)
    done = here("run", *arguments, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (4, "")
    assert message in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "results").exists()


def test_4_when_a_given_value_is_missing_and_nobody_is_there(tmp_path: Path) -> None:
    bench = files(tmp_path, USES_SERIAL, head=SERIAL)
    done = run(bench)
    assert (done.returncode, done.stdout) == (4, "")
    assert "the plan needs a value for 'serial'" in done.stderr
    assert "--set serial=" in done.stderr
    assert run(bench, "--set", "serial=A7").returncode == 0


def test_4_for_a_given_value_that_the_plan_refuses(tmp_path: Path) -> None:
    done = run(files(tmp_path, USES_SERIAL, head=SERIAL), "--set", "serial=B7")
    assert done.returncode == 4
    assert "'B7' does not match 'A\\d+'" in done.stderr


def test_5_when_nothing_was_judged(tmp_path: Path) -> None:
    done = run(files(tmp_path, "  - read: temperature\n"))
    assert (done.returncode, done.stderr) == (5, "")
    assert "NOTHING JUDGED" in done.stdout


def test_7_without_a_bluetooth_adapter(tmp_path: Path) -> None:
    files(tmp_path, READ)
    done = here("run", "plan.yaml", "--radio", "host", cwd=tmp_path, env=NO_BUS)
    assert (done.returncode, done.stderr) == (7, "")
    assert "the station could not test (exit code 7)" in done.stdout
    assert "(station)" in done.stdout
    assert "Traceback" not in done.stdout


def test_7_when_no_results_can_be_written(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    (tmp_path / "results").write_text("a file in the way", encoding="utf-8")
    done = run(bench)
    assert (done.returncode, done.stdout) == (7, "")
    assert "cannot be written: " in done.stderr
    assert "--results" in done.stderr


def test_reports_go_where_they_are_wanted_too(tmp_path: Path) -> None:
    bench = files(tmp_path, COLD)
    done = run(bench, "--junit", "out/j.xml", "--csv", "out/r.csv", "--results", "here", "--capture", "out.btsnoop")
    assert done.returncode == 1
    assert JUnitXml.fromfile(str(tmp_path / "out/j.xml")).failures == 1
    assert (tmp_path / "out/r.csv").read_text(encoding="utf-8").count("temperature") >= 1
    (record,) = tmp_path.glob("here/*/record.jsonl")
    assert "capture: made; it holds all that went over the radio" in record.read_text(encoding="utf-8")
    assert (tmp_path / "out.btsnoop").read_bytes().startswith(b"btsnoop\0")
    assert (tmp_path / "out.btsnoop").stat().st_mode & 0o077 == 0


def test_a_capture_that_cannot_be_written_is_the_stations_trouble(tmp_path: Path) -> None:
    done = run(files(tmp_path, READ), "--capture", "no/such/folder/x.btsnoop")
    assert done.returncode == 7
    assert "the capture no/such/folder/x.btsnoop cannot be written: No such file or directory" in unwrapped(done.stdout)


def test_two_runs_have_two_folders(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    assert [run(bench).returncode, run(bench).returncode] == [0, 0]
    assert len(bench.records()) == 2


def test_quiet_says_the_verdict_only(tmp_path: Path) -> None:
    done = run(files(tmp_path, READ), "--quiet")
    _, folder = done.stdout.splitlines()
    assert folder.startswith("record: results")
    assert done.stdout.startswith("PASS, SIMULATED: all limits held (exit code 0): 3 of 3 steps passed; 1 limit judged")


@pytest.mark.parametrize("env", [{}, {"NO_COLOR": "1"}, {"CI": "1"}, {"COLUMNS": "60"}, {"COLUMNS": "200"}])
def test_what_is_piped_has_no_escape_codes_and_no_progress(tmp_path: Path, env: dict[str, str]) -> None:
    done = run(files(tmp_path, COLD), env=env)
    assert done.stderr == ""
    assert not re.search(r"[\x1b\r\x07]", done.stdout)
    assert "21.5 °C is above the maximum 0 °C by 21.5 °C" in unwrapped(done.stdout)
    widest = max(len(line) for line in done.stdout.splitlines() if not line.startswith("record: "))
    assert widest <= int(env.get("COLUMNS", 120))


def test_only_and_from_on_the_command_line(tmp_path: Path) -> None:
    bench = files(tmp_path, READ + "  - wait: 1 s\n    expect: {elapsed: {max: 2 s}}\n")
    assert "1 of 1 steps passed" in run(bench, "--only", "wait 1 s").stdout
    assert "3 of 3 steps passed" in run(bench, "--from", "3").stdout.replace("4 of 4", "3 of 3")


# --- the station file


def station(folder: Path, text: str) -> None:
    (folder / "station.yaml").write_text(text, encoding="utf-8")


def test_a_station_says_the_radio_the_results_and_values(tmp_path: Path) -> None:
    files(tmp_path, USES_SERIAL, head=SERIAL)
    station(
        tmp_path,
        "station: bench 7\nradio: 'virtual:device.yaml'\nresults: kept\ngiven: {serial: A9, other: not for this plan}\n",
    )
    done = here("run", "plan.yaml", "--station", "station.yaml", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "station  bench 7" in done.stdout
    [record] = tmp_path.glob("kept/*/record.jsonl")
    assert '"given":{"serial":"A9"}' in record.read_text(encoding="utf-8")


def test_the_command_line_outranks_the_station(tmp_path: Path) -> None:
    bench = files(tmp_path, USES_SERIAL, head=SERIAL)
    station(tmp_path, "station: bench 7\nradio: host\nresults: kept\ngiven: {serial: A9}\n")
    done = run(bench, "--station", "station.yaml", "--set", "serial=A1", "--results", "here")
    assert done.returncode == 0
    [record] = tmp_path.glob("here/*/record.jsonl")
    assert '"given":{"serial":"A1"}' in record.read_text(encoding="utf-8")


def test_a_station_that_forbids_programs(tmp_path: Path) -> None:
    bench = files(tmp_path, "  - command: [touch, marker]\n")
    station(tmp_path, "station: bench 7\nforbid: [command]\n")
    done = run(bench, "--station", "station.yaml")
    assert done.returncode == 7
    assert "this station forbids command steps" in done.stdout
    assert not (tmp_path / "marker").exists()


def test_a_mistake_in_the_station_file(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    station(tmp_path, "station: bench 7\nradoi: host\n")
    done = run(bench, "--station", "station.yaml")
    assert (done.returncode, done.stdout) == (4, "")
    assert "station.yaml:2:1: unknown key 'radoi'" in done.stderr


def test_the_text_of_a_failure_has_all_that_is_needed_to_find_it(tmp_path: Path) -> None:
    sensor = (DEVICES / "sensor.yaml").read_text(encoding="utf-8")
    (tmp_path / "device.yaml").write_text(sensor.replace("value: 91 %", "value: 41 %"), encoding="utf-8")
    plan = PLANS / "twelve_checks.yaml"
    done = here("run", plan, "--radio", "virtual:device.yaml", cwd=tmp_path)
    line = 1 + plan.read_text(encoding="utf-8").splitlines().index("    expect: {value: {min: 80 %, max: 100 %}}")
    assert done.returncode == 1
    text = unwrapped(done.stdout)
    assert "step 7 read battery level: fail (limit) value: 41 % is below the minimum 80 % by 39 %" in text
    assert "measured 41 %; limit min 80 % and max 100 %; margin -39 %; raw 29;" in text
    assert f"twelve_checks.yaml:{line}" in done.stdout.replace("\n", "")


def test_a_partial_run_says_so_everywhere(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    done = run(bench, "--only", "2")
    assert done.returncode in (0, 5)
    assert "PARTIAL" in done.stdout
    assert "1 of the plan's 3 steps was left out" in done.stdout
    assert 'name="marks" value="SIMULATED, PARTIAL"' in next(bench.folder.glob("results/*/junit.xml")).read_text()


def test_an_older_report_does_not_outlive_a_run_that_could_not_start(tmp_path: Path) -> None:
    old = tmp_path / "nightly.xml"
    old.write_text("<testsuites/>")
    assert run(files(tmp_path, READ), "--junit", str(old), "--set", "unknown=1").returncode == 4
    assert not old.exists()


def test_a_report_that_cannot_be_written_is_said_before_the_run(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    done = run(bench, "--csv", "/proc/nowhere/readings.csv")
    assert (done.returncode, bench.records()) == (4, [])
    assert "/proc/nowhere/readings.csv cannot be written" in done.stderr


def test_a_closed_pipe_does_not_change_the_exit_code(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    command = [sys.executable, "-m", "benchrig", "run", "plan.yaml", "--radio", "virtual:device.yaml"]
    process = subprocess.Popen(command, cwd=bench.folder, stdout=subprocess.PIPE)
    assert process.stdout is not None
    process.stdout.close()
    assert process.wait(30) == 0


def test_the_air_that_was_asked_for_is_the_air_of_the_run(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    assert "note: air: far" in run(bench, "--air", "far").stdout
    assert "air:" not in run(bench).stdout


def test_an_air_goes_with_a_virtual_radio_only(tmp_path: Path) -> None:
    files(tmp_path, READ)
    done = benchrig("run", "plan.yaml", "--radio", "host", "--air", "rough", cwd=tmp_path)
    assert done.returncode == 4
    assert "--air goes with a virtual radio" in done.stderr


def test_one_limit_is_not_limits(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    assert benchrig("check", "plan.yaml", cwd=bench.folder).stdout == "plan.yaml: OK, 3 steps, 1 limit\n"
