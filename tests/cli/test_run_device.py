"""`benchrig run` with several devices on the air, and what it says in few words."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.record.journal import read_record
from benchrig.record.model import Record
from tests.cli.calling import call
from tests.run.kit import device_text, plan_text

READ = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"
THERMOMETER = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: 21.5 °C}
"""
# no bus there: the host radio cannot be opened, whatever this machine has
NO_BUS = "unix:path=/nonexistent/bus"


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A plan for 'unit*', three units on the air, and one device that the plan does not mean."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plan.yaml").write_text(plan_text(READ), encoding="utf-8")
    for number, name in enumerate(("unit 1", "unit 2", "unit 3", "other")):
        device = device_text(THERMOMETER, name=name, address=f"C4:00:00:00:00:0{number}")
        (tmp_path / f"device{number}.yaml").write_text(device, encoding="utf-8")
    return tmp_path


RADIO = ("--radio", "virtual:" + ",".join(f"device{number}.yaml" for number in range(4)))


def record(folder: Path) -> Record:
    [path] = folder.glob("results/*/record.jsonl")
    return read_record(path)


@pytest.mark.parametrize("device", ["unit 3", "?nit 3", "c4:00:00:00:00:02"])
def test_one_of_several_units_is_named(bench: Path, device: str) -> None:
    done = call("run", "plan.yaml", *RADIO, "-d", device)
    assert done.exit_code == 0, done.stdout
    left = record(bench)
    assert left.unit is not None
    assert (left.unit.name, left.notes[0].text) == (
        "unit 3",
        f"of the devices that the plan selects, only {device} is meant",
    )
    assert f"only {device} is meant" in done.stdout


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ([], 7, "say which one with --device"),
        (["-d", "unit*"], 7, "give --device an address"),
        (["-d", "other"], 1, "it fits device: select: and --device both"),
        (["-d", "Unit 3"], 1, "did you mean 'unit 3'? Capitals count"),
        (["-d", "uni"], 1, "write 'uni*' for names that begin with it: 'unit"),
    ],
)
def test_a_name_that_does_not_help(bench: Path, words: list[str], code: int, said: str) -> None:
    done = call("run", "plan.yaml", *RADIO, *words, columns=300)
    assert (done.exit_code, said in done.stdout) == (code, True), done.stdout


def test_quiet_names_the_step_the_reason_and_the_record(bench: Path) -> None:
    verdict, reason, advice, place = call("run", "-q", "plan.yaml", *RADIO).stdout.splitlines()
    assert verdict.startswith("ERROR, SIMULATED: the station could not test (exit code 7)")
    assert reason.startswith("reason: step 1 scan: error (station): ambiguous: 3 devices match the selection: unit")
    assert advice.startswith("advice: switch the others off, say which one with --device")
    assert advice.endswith("for example with nearest: 6 dB")
    assert place.startswith("record: results/")


def test_quiet_says_which_limit_broke(bench: Path) -> None:
    (bench / "plan.yaml").write_text(plan_text(READ.replace("30 °C", "0 °C")), encoding="utf-8")
    _, reason, _ = call("run", "-q", "plan.yaml", *RADIO, "-d", "unit 1").stdout.splitlines()
    assert reason == "reason: step 3 read temperature: fail (limit): 21.5 °C is above the maximum 0 °C by 21.5 °C"


@pytest.mark.parametrize(("variable", "said"), [("virtual:device0.yaml", True), ("", False)])
def test_a_radio_in_the_environment_does_not_count(
    bench: Path, monkeypatch: pytest.MonkeyPatch, variable: str, said: bool
) -> None:
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", NO_BUS)
    monkeypatch.setenv("BENCHRIG_RADIO", variable)
    done = call("run", "-q", "plan.yaml")
    assert (done.exit_code, "if you meant it: --radio virtual:device0.yaml" in done.stderr) == (7, said)
    assert done.stdout.splitlines()[1].startswith("reason: the run: error (station): ")
