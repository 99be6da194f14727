"""`benchrig write`."""

from __future__ import annotations

import contextlib
import json
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

import pytest
from click.testing import Result

from tests.cli.calling import call
from tests.cli.kit import OnTerminal, here
from tests.cli.screen import attended
from tests.run.kit import DEVICES, device_text

PLAN = """plan: names
caution: The relay switches mains.
device:
  select: {name: VFL-*}
  attributes:
    alarm limit: {uuid: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, as: sint16, scale: 0.01, unit: °C}
    factory key: {uuid: 6b1d0006-9a53-4c86-8a3e-2f0f6c1d7e40, as: hex}
    note: {uuid: 6b1d0008-9a53-4c86-8a3e-2f0f6c1d7e40, as: utf8}
steps:
  - scan:
"""
AT = ("-p", "plan.yaml", "--radio", f"virtual:{DEVICES}/logger.yaml")
SILENT = device_text("""services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [write], value: 5 °C, on_write: {silent: true}}
""")
SHOWS_CURSOR = "\x1b[?25h"  # the line that says what is being waited for ends with it
QUESTION = "Type 'yes' to acknowledge"


def written(folder: Path, *words: str, acknowledge: bool = True) -> subprocess.CompletedProcess[str]:
    (folder / "plan.yaml").write_text(PLAN, encoding="utf-8")
    return here("write", *words, *["--acknowledge"] * acknowledge, *AT, cwd=folder)


def test_a_value_with_its_unit_is_written_and_read_back(tmp_path: Path) -> None:
    done = written(tmp_path, "alarm limit", "-12.34 °C", "--read-back", "--rssi-min", "-90")
    assert done.returncode == 0
    assert done.stdout.splitlines() == [
        "wrote alarm limit: -12.34 °C  [2E FB]",
        "read back alarm limit: -12.34 °C  [2E FB]",
    ]


def test_a_refusal_ends_with_1_and_its_name(tmp_path: Path) -> None:
    done = written(tmp_path, "factory key", "01020304", "--json")
    assert done.returncode == 1
    assert json.loads(done.stdout)["att_error"] == "write not permitted"


def test_the_bytes_of_a_file(tmp_path: Path) -> None:
    (tmp_path / "note.bin").write_bytes(b"shelf 3")
    done = written(tmp_path, "note", "--file", "note.bin", "--json")
    assert json.loads(done.stdout)["written"]["value"] == "shelf 3"
    assert "7 bytes from note.bin" in done.stderr


@pytest.mark.slow
def test_a_file_that_no_attribute_holds(tmp_path: Path) -> None:
    (tmp_path / "note.bin").write_bytes(bytes(513))
    assert written(tmp_path, "note", "--file", "note.bin").returncode == 4


def test_without_anybody_there_nothing_is_sent(tmp_path: Path) -> None:
    done = written(tmp_path, "alarm limit", "8 °C", acknowledge=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert "nothing was sent" in done.stderr
    assert "SIMULATED" not in done.stderr, "the radio was opened"


def test_a_value_that_does_not_fit_ends_with_4(tmp_path: Path) -> None:
    assert written(tmp_path, "alarm limit", "8 °C", "--raw", "01").returncode == 4


def answered(folder: Path, *words: str, script: Sequence[tuple[str, str]]) -> Result:
    (folder / "plan.yaml").write_text(PLAN, encoding="utf-8")
    with contextlib.chdir(folder):
        done, terminal = attended("write", *words, script=script)
    assert terminal.is_done, f"not asked: {terminal.written}"
    return done


def test_the_write_is_asked_for_with_the_caution_of_the_plan(tmp_path: Path) -> None:
    done = answered(tmp_path, "alarm limit", "8 °C", *AT, script=[(QUESTION, "yes\n")])
    assert done.exit_code == 0
    asked = " ".join(done.stderr.split())
    assert "writes 8 °C to 'alarm limit' of VFL-0042 (C4:1F:5A:20:00:42)" in asked
    assert "The relay switches mains." in asked
    assert "wrote alarm limit: 8 °C" in done.stdout


@pytest.mark.slow
def test_who_interrupts_a_write_learns_that_it_may_have_been_done(tmp_path: Path) -> None:
    (tmp_path / "device.yaml").write_text(SILENT, encoding="utf-8")
    at = ("--radio", "virtual:device.yaml", "--real-time", "--acknowledge", "--raw", "0102")
    with OnTerminal(tmp_path, "write", "temperature", *at) as terminal:
        terminal.until("connecting to unit 1")
        terminal.until(SHOWS_CURSOR)  # connected
        time.sleep(1)  # of the 5 s for which it waits for the answer to the write
        terminal.type("\x03")
        assert terminal.end() == 2
        assert "interrupted; the write may have reached the device" in terminal.shown


def test_what_cannot_be_written_is_not_asked_for(tmp_path: Path) -> None:
    done = answered(tmp_path, "battery level", "50 %", *AT, script=[])
    assert done.exit_code == 1
    assert "does not offer write" in done.stderr
    assert "CAUTION" not in done.stderr


def test_no_is_an_answer(tmp_path: Path) -> None:
    done = answered(tmp_path, "alarm limit", "8 °C", *AT, script=[(QUESTION, "y\n"), (QUESTION, "no\n")])
    assert (done.exit_code, done.stdout) == (2, "")
    assert "type 'yes' in full" in done.stderr
    assert "not acknowledged; nothing was sent" in done.stderr


def test_a_hostile_name_stays_on_its_line(tmp_path: Path) -> None:
    (tmp_path / "device.yaml").write_text(SILENT.replace("name: unit 1", 'name: "\\e[2Junit\\n"'), encoding="utf-8")
    done = answered(tmp_path, "temperature", "8 °C", "--radio", "virtual:device.yaml", script=[(QUESTION, "\x03")])
    assert done.exit_code == 2
    assert r"\x1b[2Junit\n" in done.stderr
    assert "interrupted; nothing was sent" in done.stderr
    assert "\x1b[2J" not in done.stderr


def test_a_name_that_nothing_knows_leads_to_the_uuid_and_to_a_plan() -> None:
    done = call("write", "setpoint", "8 °C", "--radio", f"virtual:{DEVICES}/logger.yaml")
    assert done.exit_code == 4
    assert "unknown attribute 'setpoint'" in done.stderr
    assert "--plan FILE" in done.stderr
    assert "dew point" not in done.stderr


def test_a_mistake_on_the_command_line_is_not_the_devices(tmp_path: Path) -> None:
    """The bytes of this attribute have no known format, so the value is none that could be written."""
    done = here(
        "write",
        "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40",
        "8",
        "--acknowledge",
        "--radio",
        f"virtual:{DEVICES}/logger.yaml",
        cwd=tmp_path,
    )
    assert done.returncode == 4
    assert "or the bytes with --raw" in done.stderr
