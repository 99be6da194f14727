"""Every command into a pipe that nobody reads any more (no word about it, and the exit code of what was done), and onto
a full disk (the exit code of what was done, and never a success without its results)."""

from __future__ import annotations

import io
import os
import sys

import pytest

from benchrig import lastwords
from benchrig.cli import main
from tests.run.kit import DEVICES, PLANS

LOGGER = str(DEVICES / "logger.yaml")
RADIO = ("--radio", f"virtual:{LOGGER}")


def ended(monkeypatch: pytest.MonkeyPatch, output: int, *words: str, typed: str = "6608\n" * 6) -> int:
    """The exit code of a command with this standard output, and that gets `typed`."""
    with os.fdopen(output, "w", encoding="utf-8") as stream, monkeypatch.context() as patched:
        patched.setattr(sys, "stdout", lastwords.steady(stream, loud=True))
        patched.setattr(sys, "stdin", io.StringIO(typed))
        patched.setattr(lastwords, "_told", False)
        patched.setattr(lastwords, "_results_lost", False)
        return lastwords.ended(lambda: main(list(words)))


def closed() -> int:
    reading, writing = os.pipe()
    os.close(reading)
    return writing


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["check", str(PLANS / "smoke.yaml"), str(PLANS / "end_of_line.yaml")], 0),
        (["check", str(PLANS / "smoke.yaml"), "none.yaml"], 4),
        (["check", "--schema"], 0),
        (["completion", "bash"], 0),
        (["decode", "--file", "-", "--as", "temperature"], 0),
        (["decode", "--file", "-", "--as", "temperature", "--json"], 0),
        (["decode", "--file", "-", "--as", "uint8"], 1),
        (["decode", "6608", "--as", "temperature"], 0),
        (["decode", "66", "--as", "temperature", "--json"], 1),
        (["decode", "--presentation", "0EFE2F27010000"], 0),
        (["decode", "--address", "C0:11:22:33:44:55"], 0),
        (["decode", "--address", "C0:11:22:33:44:55", "--irk", "00" * 16], 5),
        (["devices", LOGGER, str(DEVICES / "returned_logger.yaml")], 0),
        (["draft", "-o", "-", *RADIO], 0),
        (["twin", "-o", "-", *RADIO], 0),
        (["encode", "21.5 °C", "--as", "temperature"], 0),
        (["inspect", *RADIO], 0),
        (["inspect", "--json", *RADIO], 0),
        (["read", "temperature", *RADIO], 0),
        (["read", "temperature", "no such thing/temperature", *RADIO], 4),
        (["ready", *RADIO], 0),
        (["ready", "--json", *RADIO], 0),
        (["run", "-q", str(PLANS / "smoke.yaml"), *RADIO, "--results", "{tmp}"], 0),
        (["scan", "--for", "1s", *RADIO], 0),
        (["scan", "--for", "1s", "--reports", *RADIO], 0),
        (["scan", "--for", "1s", "-d", "nobody", *RADIO], 5),
        (["watch", "temperature", "--count", "3", *RADIO], 0),
        (["write", "alarm limit", "8 °C", "-p", str(PLANS / "end_of_line.yaml"), "--acknowledge", *RADIO], 0),
        (["watch", "temperature", "--count", "3", "--json", *RADIO], 0),
    ],
)
def test_nobody_reads_the_output(monkeypatch, words, code, tmp_path, capfd):
    assert ended(monkeypatch, closed(), *(word.replace("{tmp}", str(tmp_path)) for word in words)) == code
    assert "Error" not in capfd.readouterr().err


def test_what_nobody_reads_is_not_decoded(monkeypatch):
    """The second value is 0x00, which is no uint16."""
    assert ended(monkeypatch, closed(), "decode", "--file", "-", "--as", "uint16", typed="6608\n00\n") == 0


MUTE = "device: mute\naddress: 'C4:00:00:00:00:09'\nfaults: {stop_advertising_after: 0 s}\nservices: []\n"


@pytest.mark.parametrize("words", [["ready", "--listen", "1s"], ["ready", "--listen", "1s", "--json"]])
@pytest.mark.parametrize("output", ["closed", "full"])
def test_a_station_that_cannot_test_says_so_whoever_reads(monkeypatch, tmp_path, words, output):
    (tmp_path / "mute.yaml").write_text(MUTE)
    stream = closed() if output == "closed" else os.open("/dev/full", os.O_WRONLY)
    assert ended(monkeypatch, stream, *words, "--radio", f"virtual:{tmp_path}/mute.yaml") == 7


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["draft", "-o", "-", *RADIO], 7),
        (["inspect", "--format", "json", *RADIO], 7),
        (["read", "temperature", *RADIO], 7),
        (["watch", "temperature", "--count", "2", *RADIO], 7),
        (["encode", "21.5 °C", "--as", "temperature"], 7),
        (["completion", "bash"], 7),
        (["--help"], 7),
        (["decode", "66", "--as", "temperature", "--json"], 1),
        (["check", str(PLANS / "smoke.yaml"), "none.yaml"], 4),
        (["run", "-q", str(PLANS / "smoke.yaml"), *RADIO, "--results", "{tmp}"], 0),
        (["ready", *RADIO], 0),
    ],
)
@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no device that is always full")
def test_the_disk_is_full(monkeypatch, words, code, tmp_path, capfd):
    full = os.open("/dev/full", os.O_WRONLY)
    assert ended(monkeypatch, full, *(word.replace("{tmp}", str(tmp_path)) for word in words)) == code
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.parametrize("output", [closed, lambda: os.open("/dev/full", os.O_WRONLY)])
def test_a_plan_that_a_station_forbids_is_forbidden_whoever_reads(monkeypatch, tmp_path, output):
    plan, station = tmp_path / "plan.yaml", tmp_path / "station.yaml"
    plan.write_text(
        "plan: one\ndevice:\n  select: {name: unit}\nsteps:\n  - command: [touch, marker]\n", encoding="utf-8"
    )
    station.write_text("station: one\nforbid: [command]\n", encoding="utf-8")
    words = ["check", str(plan), str(PLANS / "smoke.yaml"), "--station", str(station)]
    assert ended(monkeypatch, output(), *words) == 7
