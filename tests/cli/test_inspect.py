"""`benchrig inspect`."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchrig.cli import main
from tests.cli.kit import OnTerminal, benchrig
from tests.run.kit import DEVICES, device_text

RADIO = f"virtual:{DEVICES}/logger.yaml"
LEVEL = """services:
  - service: battery
    characteristics:
      - {characteristic: battery level, properties: [read], value: 97 %}
"""
# In a service of the maker's own: what an adopted service demands is no matter here.
SOUND = """services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {characteristic: humidity, properties: [read], value: 97 %}
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def inspect(*arguments: str, device: str = LEVEL) -> tuple[int, str, str]:
    """Exit code, results, notes of the command in this process, on a device as text."""
    Path("device.yaml").write_text(device_text(device), encoding="utf-8")
    done = CliRunner().invoke(main, ["inspect", "--radio", "virtual:device.yaml", *arguments])
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.stdout, done.stderr


@pytest.mark.slow
def test_a_pipe_gets_the_table_and_the_notes_go_elsewhere(tmp_path: Path) -> None:
    done = benchrig("inspect", "-d", "VFL-*", "--radio", RADIO, cwd=tmp_path)
    assert done.returncode == 0
    assert "  0x001C  humidity (2A6F)  read\n          43.5 %  [FE 10]\n" in done.stdout
    assert done.stderr.startswith("SIMULATED")


@pytest.mark.slow
def test_on_a_terminal_it_is_as_wide_as_that(tmp_path: Path) -> None:
    with OnTerminal(tmp_path, "inspect", "--radio", RADIO, columns=60) as terminal:
        assert terminal.end() == 0
        lines = re.sub(r"\x1b\[[?0-9;]*[A-Za-z]", "", terminal.shown).splitlines()
        assert 50 < max(map(len, lines)) <= 60


def test_one_document(folder: Path) -> None:
    code, text, _ = inspect("--json", device=SOUND)
    document = json.loads(text)
    assert code == 0
    assert document["inspection"]["services"][1]["characteristics"][0]["content"]["value"] == 97
    assert document["findings"] == []


def test_yaml_is_the_same_document(folder: Path) -> None:
    import yaml

    assert yaml.safe_load(inspect("--format", "yaml")[1])["inspection"]["services"][1]["name"] == "battery"


def test_a_saved_one_is_held_against_the_next(folder: Path) -> None:
    assert inspect("--save", "golden.json")[0] == 0
    assert inspect("--against", "golden.json")[1].endswith("the structure is the same\n")
    code, text, _ = inspect("--against", "golden.json", device=LEVEL.replace("97", "96"))
    assert (code, "97 % -> 96 %" in text) == (0, True)
    code, text, _ = inspect("--against", "golden.json", "--json", device=LEVEL.replace("[read]", "[read, notify]"))
    assert code == 1
    assert json.loads(text)["comparison"]["changed"][0]["what"] == "properties"


def test_only_a_strict_one_fails_for_findings(folder: Path) -> None:
    reserved = LEVEL.replace("value: 97 %", "raw: '65'")
    assert inspect(device=reserved)[0] == 0
    code, text, _ = inspect("--strict", device=reserved)
    assert (code, "error: battery/battery level: " in text) == (1, True)
    assert inspect("--strict")[0] == 0


def test_a_warning_is_no_error(folder: Path) -> None:
    idle = LEVEL.replace("value: 97 %", "value: 97 %, descriptors: [{descriptor: '2902', raw: '0000'}]")
    code, text, _ = inspect("--strict", device=idle)
    assert (code, "1 warning" in text) == (0, True)


def test_a_link_that_breaks_shows_what_was_seen(folder: Path) -> None:
    code, text, notes = inspect(device=LEVEL.replace("97 %", "97 %, on_read: {disconnect: true}"))
    assert (code, "battery level (2A19)" in text, "the link was lost" in notes) == (1, True, True)


def test_an_absent_device_is_a_failure(folder: Path) -> None:
    code, text, notes = inspect("-d", "nobody", "--within", "2s")
    assert (code, text, "not heard" in notes) == (1, "", True)


@pytest.mark.parametrize("arguments", [("--save", "a.txt"), ("--against", "device.yaml"), ("--against", "none.json")])
def test_wrong_files_are_found_before_the_radio_is_opened(folder: Path, arguments: tuple[str, str]) -> None:
    code, text, notes = inspect(*arguments, "--radio", "hci:tcp:127.0.0.1:1")
    assert (code, text) == (4, "")
    assert "127.0.0.1" not in notes
