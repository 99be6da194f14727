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
    return sum(r.judgement is not None for step in ran.record.executions for r in step.readings)


def test_the_end_of_line_plan_passes_a_good_logger() -> None:
    ran = run(END_OF_LINE, LOGGER)
    assert (ran.ended.verdict, ran.ended.exit_code) == ("pass", 0)
    assert len(ran.record.steps) >= 12
    assert judged(ran) == ran.ended.judged >= 100
    assert set(ran.verdicts()) == {"pass"}
    assert (ran.tasks_left, ran.stray) == (0, [])
    assert ran.record.run.simulated


SEEDS = [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(2, 10))]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("air", ["rough", *(pytest.param(air, marks=pytest.mark.slow) for air in ("kind", "crowded"))])
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
    """Those that failed by themselves, not by a step in them."""
    ended = ((one.planned.name, one.ended) for one in ran.record.executions if one.ended)
    return {name: end.cause for name, end in ended if end.verdict == "fail" and end.root is None}


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


BOX = (DEVICES / "transport_box.yaml").read_text(encoding="utf-8").replace("../names", str(PLANS / "names"))


def box(*changes: tuple[str, str]) -> str:
    """The sound box with these texts of its file replaced."""
    device = BOX
    for before, after in changes:
        assert device.count(before) == 1, before
        device = device.replace(before, after)
    return device


US = [
    ("tx_power: 4 dBm", "tx_power: 8 dBm"),
    ("value: PTB2-EU", "value: PTB2-US"),
    ("open, for: 10 s", "open, for: 20 s"),
]


def test_each_market_has_its_values() -> None:
    plan = PLANS / "box_end_of_line.yaml"
    assert run(plan, box(*US), given={"market": "us"}).ended.verdict == "pass"
    assert failed_steps(run(plan, box(*US[1:]), given={"market": "us"})) == {"scan": "limit"}
    assert failed_steps(run(plan, box(*US[1:]))) == {"read model number": "limit", "it locks again": "limit"}


PHARMA = PLANS / "limits" / "end_of_line_pharma.yaml"


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_under_the_limit_set_of_a_variant_a_warmer_logger_fails(air: str) -> None:
    warm = LOGGER.read_text("utf-8").replace("mean: 21.5 °C", "mean: 28 °C")
    warm = warm.replace("../names", str(PLANS / "names"))
    assert run(END_OF_LINE, LOGGER, air=air, limits=PHARMA).ended.verdict == "pass"
    assert run(END_OF_LINE, warm, air=air).ended.verdict == "pass"
    assert failed_steps(run(END_OF_LINE, warm, air=air, limits=PHARMA)) == {"ambient temperature": "limit"}


FAULTS = [
    ("box_end_of_line", ("04(?P<token>(..){1,16})', notify: {answer: '84 {token}'}", "04.*', notify: {answer: '84'}"), "the protocol answers", "limit"),
    ("box_end_of_line", ("for: 4 s}, {value: passed}", "for: 4 s}, {value: failed}"), "the self test passes", "limit"),
    ("box_end_of_line", ("self_test: {states: [{value: running, for: 4 s}", "self_test: {states: [{value: running, for: 7 s}"), "the self test passes", "limit"),
    ("box_end_of_line", ("answer: '83 00'", "answer: '83 01'"), "start the self test", "limit"),
    ("box_end_of_line", ("sleep: for good", "sleep: 5 s"), "silence", "limit"),
    ("box_nightly", ("properties: [write], value: '48 21'", "properties: [read, write], value: '48 21'"), "discover", "limit"),
    ("box_nightly", ("only_if: {state.lock: open}, notify", "only_if: {state.lock: locked}, notify"), "no self test while the lock is open", "limit"),
    ("box_nightly", ("crc: CRC-16/XMODEM", "crc: CRC-16/ARC"), "the log", "limit"),
    ("box_nightly", ("jitter: 2 ms}", "jitter: 2 ms, drop_every: 50}"), "while it rides", "limit"),
    ("box_nightly", ("characteristic: openings, properties: [read], value: 12", "characteristic: openings, volatile: true, properties: [read], value: 12"), "the openings outlive the restart", "limit"),
    ("box_nightly", ("set: {starts: {add: 1}}", "set: {starts: {add: 2}}"), "it was one start", "limit"),
    ("box_nightly", ("then: [{delay: 300 ms, reboot: 2 s}]", "then: [{delay: 300 ms, disconnect: true}]"), "reboot", "limit"),
    ("box_nightly", ("reboot: 2 s", "reboot: 8 s"), "reboot", "limit"),
    ("box_nightly", ("again_after: 300 ms", "again_after: 3 s"), "leave with new settings", "limit"),
    ("box_bringup", ("ready lock={state.lock}", "ASSERT lock.c:117"), "it is ready", "limit"),
]  # fmt: skip


SECURE = DEVICES / "secure_logger.yaml"
KIND = "downgrade: false}"
# what is wrong with its security
OF_SECURITY = [
    ("downgrade: false, faults: {keeps_bonds: true}}", "bonds cleared", "limit"),
    ("downgrade: false, faults: {refuses_after_deletion: true}}", "bonds cleared", "limit"),
    ("downgrade: false, faults: {forgets_bonds: restart}}", "a known address is not enough", "limit"),
    ("downgrade: false, faults: {trusts_address: true}}", "a known address is not enough", "limit"),
    ("downgrade: false, faults: {unchecked: true}}", "a wrong passkey is refused", "device"),
    ("downgrade: false, passkey: '000001'}", "a wrong passkey is refused", "limit"),
    ("downgrade: false, passkey: '442517'}", "pairs with the passkey that it shows, its passkey", "limit"),
]


@pytest.mark.parametrize(("fault", "step", "cause"), OF_SECURITY)
def test_a_fault_of_security_fails_its_step(fault: str, step: str, cause: str) -> None:
    text = SECURE.read_text(encoding="utf-8").replace("../names", str(PLANS / "names"))
    assert text.count(KIND) == 1
    ended = (ran := run(PLANS / "secure_end_of_line.yaml", text.replace(KIND, fault))).ended
    root = next(one.planned.name for one in ran.record.executions if one.where == ended.root)
    assert (root, ended.cause, ended.exit_code) == (step, cause, 1), ended.message


@pytest.mark.parametrize(
    ("fault", "step"),
    [("pairing: secure connections", "legacy pairing is refused"), ("least_key_size: 16, ", "a short key is refused")],
)
def test_security_that_is_left_out_fails_its_step(fault: str, step: str) -> None:
    text = SECURE.read_text(encoding="utf-8").replace("../names", str(PLANS / "names"))
    assert text.count(fault) == 1
    text = text.replace(fault, "pairing: either" if "pairing" in fault else "")
    ended = (ran := run(PLANS / "secure_end_of_line.yaml", text)).ended
    root = next(one.planned.name for one in ran.record.executions if one.where == ended.root)
    assert (root, ended.cause) == (step, "limit"), ended.message


QUICK = ("box_end_of_line", "box_bringup")


@pytest.mark.parametrize(
    ("plan", "fault", "step", "cause"),
    [pytest.param(*one, marks=[] if one[0] in QUICK else pytest.mark.slow, id=f"{one[0]}, {one[2]}") for one in FAULTS],
)
def test_a_fault_of_the_box_fails_its_step(plan: str, fault: tuple[str, str], step: str, cause: str) -> None:
    ended = (ran := run(PLANS / f"{plan}.yaml", box(fault))).ended
    root = next(one.planned.name for one in ran.record.executions if one.where == ended.root)
    assert (root, ended.cause, ended.exit_code) == (step, cause, 1), ended.message


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


@pytest.mark.slow
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


BROKEN_OFF = """  - group: a run that was broken off
    steps:
      - pair: keyboard
        passkey: '${early}'
        steps:
          - console:
            name: the passkey of that run
            until: {line: {matches: 'passkey (?P<early>[0-9]{6})'}}
            save: {early: early}
      - unpair:
      - connect:
        name: the next run
"""


@pytest.mark.parametrize(
    ("name", "at"),
    [
        ("secure_end_of_line", "  - group: what anybody may know\n"),
        pytest.param("secure_nightly", "  - group: what strangers see\n", marks=pytest.mark.slow),
    ],
)
def test_a_sound_logger_that_kept_the_bond_of_this_bench_passes(name: str, at: str) -> None:
    text = (PLANS / f"{name}.yaml").read_text(encoding="utf-8")
    assert text.count(at) == 1
    ran = run(text.replace(at, BROKEN_OFF + at).replace("use: ", f"use: {PLANS}/"), SECURE)
    assert ran.ended.verdict == "pass", ran.ended.message
