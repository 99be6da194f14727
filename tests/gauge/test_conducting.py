"""Measurements of a study on simulated units, whatever happens between them."""

from __future__ import annotations

import contextlib
import json
import random
import signal
import subprocess
import time
from pathlib import Path

import pytest

from benchrig.cli import gauge_run
from benchrig.files import held
from benchrig.gauge.design import RUNS, Cell, Design
from benchrig.gauge.placing import placed, serial_of
from benchrig.gauge.state import state_of
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual.device_spec import Beacon, DeviceSpec
from benchrig.record.journal import read_record
from tests.cli.kit import COMMAND, environment
from tests.cli.screen import attended
from tests.gauge.kit import NOISE, RADIO, READING, SERVICES, STEPS, begun, bench, gauge
from tests.run.kit import device_text


def measured(folder: Path) -> dict[Cell, float]:
    state = state_of([folder / "study"])
    return {cell: each.values[READING].number for cell, each in state.measured.items()}


def test_a_rehearsal_on_units_that_are_drawn(tmp_path: Path) -> None:
    bench(tmp_path)
    design = begun(tmp_path, appraisers="Anna")
    done = gauge(tmp_path, "run", "study", *RADIO)
    assert (done.returncode, done.stderr) == (0, "")
    assert [line.partition(": ")[0] for line in done.stdout.splitlines()[:4]] == [f"{n} of 4" for n in (1, 2, 3, 4)]
    assert all(line.endswith("SIMULATED") for line in done.stdout.splitlines()[:4])
    found = measured(tmp_path)
    assert [*found] == [*design.order]
    first, second = ([value for cell, value in found.items() if cell.unit == unit] for unit in design.units)
    assert max(map(abs, (first[0] - first[1], second[0] - second[1]))) < 0.3 < abs(first[0] - second[0])
    assert len({*found.values()}) > 2, "each run has its own seed"
    runs = [read_record(path).run for path in sorted((tmp_path / "study" / RUNS).glob("2*"))]
    assert [(run.radio, Cell(run.study.unit, run.study.appraiser, run.study.repeat)) for run in runs if run.study] == [
        ("virtual:device.yaml", cell) for cell in design.order
    ]
    assert "SIMULATED: no real unit was measured" in gauge(tmp_path, "result", "study").stdout
    again = gauge(tmp_path, "run", "study", *RADIO)
    assert (again.returncode, again.stdout) == (0, "all is measured: benchrig gauge result study\n")
    real = gauge(tmp_path, "run", "study", "--radio", "host")
    assert (real.returncode, "measurements of simulated units" in real.stderr) == (4, True)


def test_each_unit_is_on_the_air_alone(tmp_path: Path) -> None:
    """Of units that have their own files, what is no unit of the study stays."""
    design = Design("id", "p", "h", [READING], ["T001", "T002"], ["Anna"], 2)
    files = []
    for number in (1, 2, 3):
        text = device_text(
            SERVICES % (f"T00{number}", NOISE), name=f"unit {number}", address=f"C4:00:00:00:00:0{number}"
        )
        files.append(tmp_path / f"{number}.yaml")
        files[-1].write_text(text + "others: [{name: tag}]\n" * (number == 3))
    choice = placed(RadioChoice("virtual", files=tuple(files)), "T002", design)
    assert [serial_of(each) for each in choice.devices if isinstance(each, DeviceSpec)] == ["T002", "T003"]
    assert any(isinstance(each, Beacon) for each in choice.devices)
    assert str(choice) == "virtual:1.yaml,2.yaml,3.yaml"
    other = RadioChoice("virtual", files=tuple(files[:1]))
    assert placed(other, "T002", design) is other


def test_another_unit_in_its_place_is_an_error_and_counts_nothing(tmp_path: Path) -> None:
    bench(tmp_path, serial="T009", spread="")
    design = begun(tmp_path)
    done = gauge(tmp_path, "run", "study", *RADIO, "--json")
    assert done.returncode == 2
    unit = design.order[0].unit
    assert (
        json.loads(done.stdout)["error"] == f"not that unit, nothing was counted: expected unit {unit}, found unit T009"
    )
    assert measured(tmp_path) == {}
    assert "expected unit" in gauge(tmp_path, "status", "study").stdout


def test_a_unit_that_cannot_be_measured_is_tried_three_times(tmp_path: Path) -> None:
    bench(tmp_path)
    text = (tmp_path / "device.yaml").read_text()
    (tmp_path / "device.yaml").write_text(text.replace("name: unit 1", "name: nobody"))
    begun(tmp_path)
    done = gauge(tmp_path, "run", "study", *RADIO)
    assert (done.returncode, done.stdout.count("not counted: no serial number was read")) == (7, 3)


def test_a_repeat_that_was_cut_off_is_made_again(tmp_path: Path) -> None:
    bench(tmp_path)
    design = begun(tmp_path, units="T001", appraisers="Anna")
    assert gauge(tmp_path, "run", "study", *RADIO, "--unit", "T001").returncode == 0
    [path] = (tmp_path / "study" / RUNS).glob("*/record.jsonl")
    before = measured(tmp_path)
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(lines[:-1]) + lines[-1][:9])
    assert state_of([tmp_path / "study"]).missing == [*design.order]
    assert gauge(tmp_path, "run", "study", *RADIO).returncode == 0
    after = measured(tmp_path)
    assert [*after] == [*design.order]
    assert read_record(path).cut_off
    assert after[design.order[0]] != before[design.order[0]], "it is another run, with its own seed"


def test_what_ends_a_study_before_its_next_run(tmp_path: Path) -> None:
    bench(tmp_path)
    begun(tmp_path)
    nobody = gauge(tmp_path, "run", "study", "--radio", "host")
    assert (nobody.returncode, "nobody is at the terminal to put unit" in nobody.stderr) == (2, True)
    who = gauge(tmp_path, "run", "study", "--radio", "host", "--unit", "T001")
    assert (who.returncode, "add --appraiser: Anna, Ben" in who.stderr) == (4, True)
    unknown = gauge(tmp_path, "run", "study", *RADIO, "--appraiser", "Bea")
    assert (unknown.returncode, "did you mean 'Ben'?" in unknown.stderr) == (4, True)
    stranger = gauge(tmp_path, "run", "study", *RADIO, "--unit", "T003")
    assert (stranger.returncode, "the study has no unit 'T003'" in stranger.stderr) == (4, True)
    (tmp_path / "station.yaml").write_text("station: Ben\n")
    elsewhere = gauge(tmp_path, "run", "study", *RADIO, "--station", "station.yaml", "--appraiser", "Anna")
    assert (elsewhere.returncode, "the measurement would count for 'Anna'" in elsewhere.stderr) == (4, True)
    in_range = gauge(tmp_path, "run", "study", "--radio", "host", "--appraiser", "Anna", "--in-range")
    assert (in_range.returncode, "asks for no value 'serial'" in in_range.stderr) == (4, True)
    with (tmp_path / "study" / ".running").open("wb") as file:
        assert held(file)
        second = gauge(tmp_path, "run", "study", *RADIO)
    assert (second.returncode, "another benchrig measures in 'study'" in second.stderr) == (7, True)
    (tmp_path / "plan.yaml").write_text((tmp_path / "plan.yaml").read_text() + "  - wait: 1 s\n")
    changed = gauge(tmp_path, "run", "study", *RADIO)
    assert (changed.returncode, "is not the plan as it was when the study began" in changed.stderr) == (4, True)
    assert not (tmp_path / "study" / RUNS).exists()


SERIAL = """  - read: serial number
    expect: {value: {equals: '${serial}'}}
  - read: temperature
    expect: {value: {min: -10 °C, max: 90 °C}}
"""


def test_a_plan_that_asks_for_the_serial_number_gets_it(tmp_path: Path) -> None:
    bench(tmp_path)
    plan = (tmp_path / "plan.yaml").read_text()
    steps = plan.index("  - read: serial number")
    (tmp_path / "plan.yaml").write_text(plan[:steps].replace("steps:", "given: {serial: {}}\nsteps:") + SERIAL)
    begun(tmp_path, appraisers="Anna")
    assert gauge(tmp_path, "run", "study", *RADIO, "--in-range").returncode == 0
    assert len(measured(tmp_path)) == 4


def test_a_person_is_told_which_unit_to_put_in_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And is asked again when it was another one; Ctrl-C ends it, and what was measured counts."""
    monkeypatch.setattr(gauge_run, "_asks", lambda choice, who: True)
    bench(tmp_path, serial="T001", spread="")
    design = begun(tmp_path, repeats=2)
    asked = [f"{cell.appraiser}, repeat {cell.repeat}: put unit {cell.unit} in place" for cell in design.order]
    wrong = next(place for place, cell in enumerate(design.order) if cell.unit == "T002")
    script = [*((each, "\n") for each in asked[: wrong + 1]), (f"once more: {asked[wrong]}", "\x03")]
    with contextlib.chdir(tmp_path):
        done, screen = attended("gauge", "run", "study", *RADIO, script=script)
    assert (done.exit_code, screen.is_done) == (2, True), (done.stderr, screen.all_written)
    assert [*measured(tmp_path)] == [*design.order[:wrong]]
    assert "not counted: expected unit T002, found unit T001" in done.stdout


def test_a_caution_is_asked_for_once_and_shown_before_each_measurement(tmp_path: Path) -> None:
    refused = "  - write: temperature\n    value: 1 °C\n    expect: {att_error: {equals: write not permitted}}\n"
    bench(tmp_path, steps=STEPS.replace("  - disconnect:\n", refused))
    plan = tmp_path / "plan.yaml"
    plan.write_text(plan.read_text().replace("steps:", "caution: Close the cover.\nsteps:", 1))
    begun(tmp_path, units="T001", appraisers="Anna", repeats=3)
    with contextlib.chdir(tmp_path):
        done, screen = attended("gauge", "run", "study", *RADIO, script=[("'no' to stop:", "yes\n")])
    assert (done.exit_code, screen.is_done) == (0, True), (done.stderr, screen.all_written)
    assert len(measured(tmp_path)) == 3
    assert (screen.all_written + done.stderr).count("CAUTION  Close the cover.") == 3


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_killed_at_any_moment_it_continues(tmp_path: Path) -> None:
    """Each time while a run is under way, or right after it."""
    bench(tmp_path)
    design = begun(tmp_path, repeats=6)
    rng = random.Random(1)
    for _ in range(12):
        before = len(runs_in(tmp_path))
        with started(tmp_path) as process:
            while len(runs_in(tmp_path)) == before and process.poll() is None:
                time.sleep(0.002)
            time.sleep(rng.uniform(0, 0.15))
            process.send_signal(signal.SIGKILL)
    with started(tmp_path) as process:
        assert process.wait() == 0
    state = state_of([tmp_path / "study"])
    assert ([*state.measured], state.doubled) == ([*design.order], [])
    assert len(runs_in(tmp_path)) == len(design.order) + len(state.not_counted)
    assert len(state.not_counted) > 3, "most of them were killed in the middle"
    assert all(
        each.why == "the run has not ended: it was cut off, or is under way" or "is empty" in each.why
        for each in state.not_counted
    )


def runs_in(folder: Path) -> list[Path]:
    return [*(folder / "study" / RUNS).glob("*/record.jsonl")]


def started(folder: Path) -> subprocess.Popen[bytes]:
    words = [*COMMAND, "gauge", "run", "study", *RADIO]
    quiet = subprocess.DEVNULL
    return subprocess.Popen(words, cwd=folder, env=environment(), stdin=quiet, stdout=quiet, stderr=quiet)


def test_a_caution_that_nobody_acknowledged_is_told_before_any_measurement(tmp_path: Path) -> None:
    bench(tmp_path)
    plan = tmp_path / "plan.yaml"
    plan.write_text(plan.read_text() + "caution: the heater is on\n")
    begun(tmp_path, units="T001", appraisers="Anna")
    done = gauge(tmp_path, "run", "study", *RADIO)
    assert (done.returncode, "the heater is on" in done.stderr) == (2, True)
    assert not (tmp_path / "study" / "runs").exists()
    told = gauge(tmp_path, "run", "study", *RADIO, "--acknowledge").stdout
    assert told.startswith("1 of 2: unit T001, Anna, repeat 1: read temperature.value 2")


def test_a_new_study_says_which_readings_it_takes_and_whether_it_is_small(tmp_path: Path) -> None:
    again = "  - read: temperature\n    name: again\n    expect: {value: {min: -5 °C, max: 90 °C}}\n"
    bench(tmp_path, steps=STEPS.replace("  - disconnect:", f"{again}  - disconnect:"))
    words = ("plan.yaml", "--units", "T001,T002", "--appraisers", "Anna")
    told = gauge(tmp_path, "begin", "study", *words).stdout
    assert "all 2 readings that the plan holds between two bounds" in told
    assert "note: expected 5 units or more, found 2" in told
    assert "two bounds" not in gauge(tmp_path, "begin", "other", *words, "--reading", READING).stdout
