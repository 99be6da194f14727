"""The other commands: check, devices, completion, help."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchrig import __version__
from benchrig.cli import main
from tests.cli.calling import call
from tests.cli.kit import THERMOMETER, benchrig, files, here
from tests.run.kit import DEVICES, PLANS, device_text


def invoke(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_check_says_what_is_in_a_good_plan() -> None:
    result = invoke("check", PLANS / "twelve_checks.yaml", PLANS / "end_of_line.yaml")
    assert result.exit_code == 0
    first, second = result.stdout.splitlines()
    assert first.endswith("twelve_checks.yaml: OK, 10 steps, 14 limits")
    assert second.endswith(
        "end_of_line.yaml: OK, 58 steps, 128 limits; repeats each command for each of 2 values of code, the temperature moves 8 times; has a caution"
    )


def test_check_shows_every_mistake_of_every_plan(tmp_path: Path) -> None:
    files(tmp_path, "  - read: temprature\n  - wait: 3\n")
    result = invoke("check", tmp_path / "plan.yaml", PLANS / "smoke.yaml", tmp_path / "none.yaml")
    assert result.exit_code == 4
    assert "plan.yaml:8:11: unknown attribute 'temprature'" in result.stderr
    assert "plan.yaml:9:11: " in result.stderr
    assert "plan.yaml: 2 problems" in result.stderr
    assert "none.yaml: 1 problem" in result.stderr
    assert "smoke.yaml: OK," in result.stdout


def test_check_with_given_values(tmp_path: Path) -> None:
    head = "given: {serial: {matches: 'A\\d'}}\n"
    files(tmp_path, "  - read: temperature\n    name: '${serial}'\n", head=head)
    plan = tmp_path / "plan.yaml"
    assert invoke("check", plan).exit_code == 0
    assert invoke("check", plan, "--set", "serial=A1").exit_code == 0
    refused = invoke("check", plan, "--set", "serial=B1")
    assert refused.exit_code == 4
    assert "'B1' does not match 'A\\d'" in refused.stderr


def test_check_without_a_plan() -> None:
    assert invoke("check").exit_code == 4


def test_the_schema_is_json() -> None:
    result = invoke("check", "--schema")
    assert result.exit_code == 0
    assert json.loads(result.stdout)["title"] == "benchrig test plan"


def test_devices_shows_the_table() -> None:
    result = invoke("devices", DEVICES / "logger.yaml")
    assert result.exit_code == 0
    for text in ("C4:1F:5A:20:00:42 (random), every 100 ms, -52 dBm ± 2 dB", "alarm limit", "[read, notify]"):
        assert text in result.stdout


def test_devices_show_privacy_and_the_size_of_keys(tmp_path: Path) -> None:
    (tmp_path / "lock.yaml").write_text(
        "device: Lock\nprivacy: {every: 5 min}\nservices:\n  - service: battery service\n    characteristics:\n"
        "      - {characteristic: battery level, properties: [read], value: 81 %, read_needs: encrypted, key_size_needed: 16}\n"
    )
    said = invoke("devices", tmp_path / "lock.yaml").output
    assert "private addresses: resolvable, another one every 5 min" in said
    assert "needs read: encrypted with a key of 16 bytes" in " ".join(said.split())


def test_devices_shows_mistakes(tmp_path: Path) -> None:
    (tmp_path / "bad.yaml").write_text(device_text(THERMOMETER).replace("value: 21.5 °C", "valeu: 1"), encoding="utf-8")
    result = invoke("devices", tmp_path / "bad.yaml")
    assert result.exit_code == 4
    assert "unknown key 'valeu'" in result.stderr


def test_devices_without_a_file() -> None:
    result = invoke("devices")
    assert result.exit_code == 4
    assert "Missing argument" in result.stderr


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_scripts(shell: str) -> None:
    result = invoke("completion", shell)
    assert result.exit_code == 0
    assert "_BENCHRIG_COMPLETE" in result.stdout


@pytest.mark.slow
def test_the_shell_completes_steps(tmp_path: Path) -> None:
    files(tmp_path, "  - read: temperature\n  - wait: 1 s\n")
    words = "benchrig run plan.yaml --only "
    env = {"_BENCHRIG_COMPLETE": "bash_complete", "COMP_WORDS": words, "COMP_CWORD": "4"}
    done = benchrig(cwd=tmp_path, env=env)
    assert [line.partition(",")[2] for line in done.stdout.splitlines()] == [
        "scan", "connect", "read temperature", "wait 1 s"
    ]  # fmt: skip


def test_the_shell_completes_the_numbers_of_steps_within_steps(tmp_path: Path) -> None:
    files(tmp_path, "  - group: g\n    steps: [{wait: 1 s}, {wait: 2 s}]\n")
    env = {"_BENCHRIG_COMPLETE": "bash_complete", "COMP_WORDS": "benchrig run plan.yaml --only 3.", "COMP_CWORD": "4"}
    assert benchrig(cwd=tmp_path, env=env).stdout.split() == ["plain,3.1", "plain,3.2"]


def test_help_names_the_exit_codes_and_the_commands() -> None:
    text = invoke("--help").stdout
    for word in ("0 pass", "1 the unit failed", "7 the station could not test", "run", "check", "devices"):
        assert word in text
    for command in ("run", "check", "devices", "completion"):
        assert "Example:" in invoke(command, "--help").stdout


def test_the_module_is_the_command(tmp_path: Path) -> None:
    done = benchrig("--version", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (0, f"benchrig, version {__version__}\n")


@pytest.mark.parametrize(
    "arguments", [["run"], ["run", "plan.yaml", "--nonsense"], ["nonsense"], ["run", "p", "--seed", "x"]]
)
def test_wrong_usage_is_not_taken_for_an_interrupted_run(arguments: list[str]) -> None:
    """Click's own exit code for it is 2, which here says that an operator stopped the run."""
    assert invoke(*arguments).exit_code == 4


def test_names_from_a_device_cannot_steer_the_terminal(tmp_path: Path) -> None:
    name = r'"unit \e[31m\r\n\x07"'
    bench = files(tmp_path, "  - read: temperature\n    expect: {value: {max: 30 °C}}\n")
    device = (tmp_path / "device.yaml").read_text(encoding="utf-8").replace("name: unit 1}", f"name: {name}}}")
    (tmp_path / "device.yaml").write_text(device, encoding="utf-8")
    done = benchrig("run", "plan.yaml", "--radio", bench.radio, cwd=tmp_path)
    assert done.returncode == 0
    assert "\x1b" not in done.stdout
    assert "\x07" not in done.stdout
    for report in ("junit.xml", "readings.csv"):
        [path] = tmp_path.glob(f"results/*/{report}")
        assert b"\x1b" not in path.read_bytes()


@pytest.mark.slow
def test_a_full_disk_is_the_stations_trouble(tmp_path: Path) -> None:
    if not os.path.exists("/dev/full"):
        pytest.skip("this system has no device that is always full")
    bench = files(tmp_path, "  - read: temperature\n    expect: {value: {max: 30 °C}}\n")
    done = benchrig("run", "plan.yaml", "--radio", bench.radio, "--junit", "/dev/full", cwd=tmp_path)
    assert done.returncode == 7
    assert "/dev/full cannot be written: No space left on device" in done.stderr


def test_only_a_run_says_that_nothing_was_run(tmp_path: Path) -> None:
    (tmp_path / "nix.yaml").write_text("nonsense: 1\n")
    assert "nothing was run" not in here("devices", "nix.yaml", cwd=tmp_path).stderr
    assert "; nothing was run." in here("run", "nix.yaml", cwd=tmp_path).stderr


@pytest.mark.parametrize(
    ("words", "advice"),
    [
        (("raed",), "did you mean 'read' or 'ready'?"),
        (("xyz",), "choose one of: bonds, capability, "),
        (("gauge", "resutl"), "did you mean 'result'?"),
        (("history", "xyz"), "choose one of: add, check, "),
    ],
)
def test_a_command_that_there_is_not(words: tuple[str, ...], advice: str) -> None:
    done = invoke(*words)
    assert done.exit_code == 4
    assert f"there is no command '{words[-1]}'; {advice}" in done.stderr


@pytest.mark.parametrize(
    ("written", "advice"),
    [
        ("lok.yaml", "did you mean 'look.yaml'?"),
        ("lok", "did you mean 'look.yaml'?"),
        ("look.yml", "did you mean 'look.yaml'?"),
        ("other.yaml", "give the path of a file"),
        ("nowhere/look.yaml", "give the path of a file"),
    ],
)
def test_a_file_that_is_not_there(tmp_path: Path, written: str, advice: str) -> None:
    (tmp_path / "look.yaml").write_text("plan: look\n")
    done = here("check", written, cwd=tmp_path)
    assert (done.returncode, f"No such file or directory\n  {advice}" in done.stderr) == (4, True), done.stderr


GROWN = """plan: grown
given: {market: {one_of: [de, us]}}
device: {select: {name: VFL-*}}
steps:
  - scan:
  - connect:
  - repeat: {least: [1, 2]}
    name: levels
    steps: [{read: battery level, expect: {value: {min: '${least} %'}}}]
  - repeat: 50
    name: soak
    steps: [{read: humidity}]
  - repeat: 8 h
    name: night
    only_if: {market: {equals: us}}
    steps: [{read: temperature}]
"""


def test_check_tells_how_large_a_plan_is(tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(GROWN, encoding="utf-8")
    rounds = "repeats levels for each of 2 values of least, soak 50 times, night for 8 h"
    assert call("check", plan, "--set", "market=us").stdout.splitlines()[-1].endswith(f"OK, 5 steps, 1 limit; {rounds}")
    left_out = call("check", plan, "--set", "market=de").stdout
    assert f"{rounds}; the given values leave out 2 steps" in left_out
