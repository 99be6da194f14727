"""Standard streams that are closed, full, narrow or of another character set, on real processes."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
from functools import partial
from pathlib import Path

import pytest

from tests.cli.calling import call
from tests.cli.kit import COMMAND, PATIENCE, THERMOMETER, OnTerminal, environment, files, here
from tests.run.kit import device_text

READ = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"
SLOW = partial(pytest.param, marks=pytest.mark.slow)
CJK = device_text(THERMOMETER, name="'温度計 🌡'")


def shell(folder: Path, words: str, tail: str = "", **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", "-c", f"{shlex.join(COMMAND)} {words} {tail}"],
        cwd=folder, env=environment(**env), stdin=subprocess.DEVNULL, capture_output=True, text=True, encoding="utf-8", errors="replace", timeout=PATIENCE,
    )  # fmt: skip


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no device that is always full")
@pytest.mark.parametrize("words", ["run bad.yaml --radio virtual:device.yaml", SLOW("check bad.yaml"), "run --bogus"])
def test_a_mistake_ends_with_4_whatever_standard_error_does(tmp_path: Path, words: str) -> None:
    files(tmp_path, READ)
    (tmp_path / "bad.yaml").write_text("plan: bad\n")
    assert shell(tmp_path, words, "2>/dev/full").returncode == 4


@pytest.mark.parametrize("tail", [SLOW("<&-"), SLOW(">&-"), "<&- >&- 2>&-"])
def test_a_run_needs_no_standard_streams(tmp_path: Path, tail: str) -> None:
    bench = files(tmp_path, READ)
    done = shell(tmp_path, f"run plan.yaml --radio {bench.radio}", tail)
    assert (done.returncode, done.stderr) == (0, "")
    assert len(bench.records()) == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "encoding"),
    [
        SLOW("scan --for 500ms --json --radio virtual:cjk.yaml", "ascii"),
        ("inspect --json --radio virtual:cjk.yaml", "cp1252"),
        ("devices cjk.yaml", "ascii"),
        SLOW("devices cjk.yaml", "cp1252"),
        SLOW("scan --for 500ms --reports --radio virtual:cjk.yaml", "ascii"),
    ],
)
def test_a_name_that_the_output_cannot_carry(tmp_path: Path, words: str, encoding: str) -> None:
    (tmp_path / "cjk.yaml").write_text(CJK, encoding="utf-8")
    done = shell(tmp_path, words, PYTHONIOENCODING=encoding)
    assert (done.returncode, "Traceback" in done.stderr) == (0, False)
    assert "\\u6e29" in done.stdout
    if "--json" in words:
        assert "温度計 🌡" in json.dumps(json.loads(done.stdout), ensure_ascii=False)


@pytest.mark.parametrize("columns", ["0", "-1", "wide"])
def test_a_width_that_is_none_is_that_of_a_pipe(tmp_path: Path, columns: str) -> None:
    bench = files(tmp_path, READ)
    done = here("run", "plan.yaml", "--radio", bench.radio, cwd=tmp_path, env={"COLUMNS": columns})
    assert "3 read temperature" in done.stdout


@pytest.mark.slow
def test_a_terminal_whose_width_is_said_to_be_none_keeps_its_own(tmp_path: Path) -> None:
    bench = files(tmp_path, READ)
    with OnTerminal(tmp_path, "run", "plan.yaml", "--radio", bench.radio, COLUMNS="0") as terminal:
        assert terminal.end() == 0
    assert "3 read temperature" in terminal.shown


def test_names_in_device_files_cannot_steer_the_terminal(tmp_path: Path) -> None:
    name = r'"\e[31m\x07\u202e"'
    (tmp_path / "d.yaml").write_text(device_text(THERMOMETER, name=name), encoding="utf-8")
    result = call("devices", tmp_path / "d.yaml")
    assert result.exit_code == 0
    assert r"\x1b[31m\x07\u202e" in result.stdout
    assert "\x1b" not in result.stdout


@pytest.mark.parametrize(
    "words",
    [
        ["read", "--json"],
        ["read", "x", "--json", "--within", "5x"],
        ["scan", "--json", "--sort", "foo"],
        ["inspect", "--against", "no file", "--json"],
        ["inspect", "--format", "json", "--within", "5x"],
        ["inspect", "--format=json", "--radio", "nothing:like:this"],
    ],
)
def test_a_command_that_is_refused_says_so_as_json_too(words: list[str]) -> None:
    result = call(*words)
    assert (result.exit_code, json.loads(result.stdout)["cause"]) == (4, "plan")
    assert json.loads(result.stdout)["error"] in " ".join(result.stderr.split())


def test_a_bug_is_said_as_json_too(monkeypatch: pytest.MonkeyPatch) -> None:
    def bug(*_: object) -> None:
        raise KeyError("x")

    monkeypatch.setattr("benchrig.desk.decoding.decode_value", bug)
    result = call("decode", "66", "--as", "uint8", "--json")
    assert (result.exit_code, json.loads(result.stdout)["cause"]) == (3, "internal")
