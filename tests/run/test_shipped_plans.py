"""The plans that ship on the devices that ship: what passes, what fails, and that a seed repeats."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from benchrig.record.journal import read_record
from tests.cli.kit import Start, benchrig, here
from tests.run.kit import DEVICES, PLANS, SHIPPED, Ran, run

END_OF_LINE, LOGGER = PLANS / "end_of_line.yaml", DEVICES / "logger.yaml"
TWELVE, SENSOR = PLANS / "twelve_checks.yaml", DEVICES / "sensor.yaml"
ANOTHER_BATTERY = SENSOR.read_text(encoding="utf-8").replace("value: 91 %", "value: 41 %")


def judged(ran: Ran) -> int:
    return sum(r.judgement is not None for step in ran.record.steps for r in step.readings)


def test_the_end_of_line_plan_passes_a_good_logger() -> None:
    ran = run(END_OF_LINE, LOGGER)
    assert (ran.ended.verdict, ran.ended.exit_code) == ("pass", 0)
    assert len(ran.record.steps) >= 12
    assert judged(ran) == ran.ended.judged >= 25
    assert set(ran.verdicts()) == {"pass"}
    assert (ran.tasks_left, ran.stray) == (0, [])
    assert ran.record.run.simulated


SEEDS = [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 10))]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("air", ["kind", "rough", "crowded"])
@pytest.mark.parametrize(("plan", "device"), SHIPPED.items())
def test_the_plans_pass_their_devices_in_any_air(plan: str, device: str, air: str, seed: int) -> None:
    ran = run(PLANS / f"{plan}.yaml", DEVICES / f"{device}.yaml", air=air, seed=seed)
    assert (ran.ended.verdict, ran.ended.exit_code) == ("pass", 0), ran.ended.message
    assert (ran.tasks_left, ran.stray) == (0, [])


@pytest.mark.parametrize("air", ["rough", "crowded", "far"])
def test_the_record_names_the_air_and_a_seed_repeats(air: str) -> None:
    one, again = (run(TWELVE, SENSOR, air=air, seed=3).events[1:] for _ in range(2))
    assert f"air: {air}" in [note.text for note in run(TWELVE, SENSOR, air=air).record.notes]
    assert one == again


def test_the_returned_logger_fails_where_it_is_broken() -> None:
    ran = run(PLANS / "returned_unit.yaml", DEVICES / "returned_logger.yaml")
    assert ran.ended.exit_code == 1
    assert failed_steps(ran) == {
        "scan": "limit",
        "discover": "limit",
        "read serial number": "limit",
        "read battery level": "limit",
        "read supply voltage": "device",
        "notify temperature": "limit",
        "read alarm limit": "link",
    }


def test_every_plan_that_ships_is_run() -> None:
    assert {path.stem for path in PLANS.glob("*.yaml")} == SHIPPED.keys()


def failed_steps(ran: Ran) -> dict[str, str]:
    return {step.planned.name: step.ended.cause for step in ran.record.steps if step.ended.verdict == "fail"}


BROKEN_BOX = {
    "read serial number": "limit",
    "read battery level": "limit",
    "notify ride": "limit",
    "a wrong code does not open": "limit",
    "it locks again": "limit",
    "the self test passes": "limit",
    "it comes back": "limit",
    "the openings outlive the restart": "limit",
}


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_the_returned_box_fails_where_it_is_broken(air: str) -> None:
    ran = run(PLANS / "returned_box.yaml", DEVICES / "returned_transport_box.yaml", air=air)
    assert failed_steps(ran) == BROKEN_BOX
    assert ran.ended.exit_code == 1


def record_of(folder: Path, seed: int, start: Start, **env: str) -> list[bytes]:
    """The lines of record.jsonl of one run, without the time of day and the id of the run."""
    words = ["run", END_OF_LINE, "--radio", f"virtual:{LOGGER}", "--acknowledge", "--seed", str(seed)]
    assert start(*words, "--results", folder, cwd=folder, env=env).returncode == 0
    [path] = folder.glob("*/record.jsonl")
    first, *rest = path.read_bytes().splitlines()
    head = json.loads(first)
    for varies in (head["started"], head["run_id"]):
        assert first.count(varies.encode()) == 1
        first = first.replace(varies.encode(), b"")
    return [first, *rest]


def test_a_seed_repeats_in_every_process_and_another_differs(tmp_path: Path) -> None:
    folders = [tmp_path / name for name in ("one", "again", "other")]
    for folder in folders:
        folder.mkdir()
    one, again = (record_of(folder, 3, benchrig, PYTHONHASHSEED=str(at)) for at, folder in enumerate(folders[:2], 1))
    assert one == again
    assert one[1:] != record_of(folders[2], 4, here)[1:]


def test_the_twelve_check_plan_is_short() -> None:
    assert len(TWELVE.read_text(encoding="utf-8").splitlines()) <= 45
    assert sum(step.ended is not None for step in run(TWELVE, SENSOR).record.steps) == 10
    assert judged(run(TWELVE, SENSOR)) >= 12


def test_a_wrong_value_is_named_with_all_that_is_needed_to_find_it() -> None:
    ran = run(TWELVE, ANOTHER_BATTERY)
    [failed] = [step for step in ran.record.steps if step.ended.verdict == "fail"]
    assert failed.planned.name == "read battery level"
    [reading] = failed.readings
    line = 1 + TWELVE.read_text(encoding="utf-8").splitlines().index("    expect: {value: {min: 80 %, max: 100 %}}")
    assert (reading.value, reading.unit, reading.raw) == (41, "%", "29")
    assert reading.judgement.place.endswith(f"twelve_checks.yaml:{line}")
    assert reading.judgement.sentence == failed.ended.message == "41 % is below the minimum 80 % by 39 %"
    assert (reading.judgement.low, reading.judgement.high) == (80, 100)


def test_the_record_on_disk_is_the_record_of_the_events(tmp_path: Path) -> None:
    record_of(tmp_path, 0, here)
    [path] = tmp_path.glob("*/record.jsonl")
    record = read_record(path)
    assert not record.cut_off
    assert [step.ended.verdict for step in record.steps] == run(END_OF_LINE, LOGGER).verdicts()
