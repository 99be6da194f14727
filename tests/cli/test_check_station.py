"""`check --station`: what a station forbids or lacks, before anything is run; and files of names."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.kit import files, here

PROGRAM = "  - command: [touch, marker]\n  - read: temperature\n    expect: {value: {max: 30 °C}}\n"
SERIAL = "given: {serial: {}, low: {default: 15 °C}}\n"
USES = "  - read: temperature\n    name: of ${serial}\n    expect: {value: {min: '${low}'}, elapsed: {max: 1 s}}\n"


def check(folder: Path, station: str, *more: str) -> tuple[int, str, str]:
    (folder / "station.yaml").write_text(station)
    done = here("check", "plan.yaml", "--station", "station.yaml", *more, cwd=folder)
    return done.returncode, done.stdout, done.stderr


def test_what_it_forbids_is_said(tmp_path):
    files(tmp_path, PROGRAM)
    code, out, _ = check(tmp_path, "station: one\nforbid: [command]\n")
    assert code == 7
    assert "plan.yaml:8: the station forbids command steps: 'command touch' cannot run there" in out


def test_what_it_gives_and_does_not_give(tmp_path):
    files(tmp_path, USES, head=SERIAL)
    code, out, _ = check(tmp_path, "station: one\n")
    assert (code, "the value 'serial' comes neither from the station nor from --set" in out) == (0, True)
    assert "neither" not in check(tmp_path, "station: one\ngiven: {serial: A1, other: B2}\n")[1]
    assert "neither" not in check(tmp_path, "station: one\n", "--set", "serial=A1")[1]


def test_a_value_of_the_station_that_does_not_fit(tmp_path):
    files(tmp_path, USES, head=SERIAL)
    code, _, err = check(tmp_path, "station: one\ngiven: {serial: A1, low: 5 V}\n")
    assert (code, "5 V is a voltage" in err) == (4, True)


def test_what_its_radio_lacks(tmp_path):
    files(tmp_path, "  - discover:\n    expect: {elapsed: {max: 1 s}}\n")
    code, out, _ = check(tmp_path, "station: one\nradio: host\n")
    assert (code, "on the host radio the limit on elapsed is not judged" in out) == (0, True)


@pytest.mark.parametrize(("station", "code"), [("station: one\nradoi: x\n", 4), ("station: one\nradio: nonsense\n", 4)])
def test_a_station_that_is_wrong_itself(tmp_path, station, code):
    files(tmp_path, PROGRAM)
    assert check(tmp_path, station)[0] == code


def test_a_run_says_it_before_anything_is_done(tmp_path):
    files(tmp_path, "  - write: temperature\n    value: 5 °C\n" + PROGRAM)
    (tmp_path / "station.yaml").write_text("station: one\nforbid: [command]\n")
    done = here("run", "plan.yaml", "--radio", "virtual:device.yaml", "--station", "station.yaml", cwd=tmp_path)
    assert done.returncode == 7
    assert "this station forbids command steps: 'command touch' (plan.yaml:10)" in done.stdout
    assert "sends" not in done.stdout


def test_a_file_of_names_alone(tmp_path):
    (tmp_path / "names.yaml").write_text(
        "plan: p\ndevice:\n  select: {name: u}\n  attributes: {own: {uuid: 0x2A6E}, other: {uuid: 0x2A19}}\n"
    )
    done = here("check", "names.yaml", cwd=tmp_path)
    assert (done.returncode, "OK, 2 names and no steps" in done.stdout) == (0, True)


@pytest.mark.parametrize("command", ["check", "run"])
def test_a_device_file_is_seen_from_the_current_folder(tmp_path, command):
    files(tmp_path, "  - read: temperature\n    expect: {value: {max: 30 °C}}\n")
    (tmp_path / "station.yaml").write_text("station: one\nradio: virtual:device.yaml\n")
    (elsewhere := tmp_path / "elsewhere").mkdir()
    there = here(command, "plan.yaml", "--station", "station.yaml", cwd=tmp_path)
    assert there.returncode == 0
    done = here(command, "../plan.yaml", "--station", "../station.yaml", cwd=elsewhere)
    assert done.returncode == 4
    assert "device.yaml, which ../station.yaml names in 'radio:', is not there" in done.stderr
    assert "paths are seen from the current folder" in done.stderr
    other = here(
        command, "../plan.yaml", "--station", "../station.yaml", "--radio", "virtual:../device.yaml", cwd=elsewhere
    )
    assert other.returncode == 0
