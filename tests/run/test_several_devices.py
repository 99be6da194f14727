"""Several devices in one plan: which step is about which, what a lost link costs, and that none is taken for another."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET

import pytest

from benchrig.errors import PlanError, UsageError
from benchrig.plan.loader import load_plan
from benchrig.report import explain
from benchrig.report.files.junit import junit_xml
from benchrig.report.files.readings_csv import csv_text
from benchrig.run.choose import choose_steps
from benchrig.run.head import narrowed
from tests.run.kit import device_text, run

OWN = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"
HEAD = (
    "plan: two devices\ndevices:\n"
    f"  lock: {{select: {{name: unit 1}}, attributes: {{state: {{uuid: {OWN}, as: uint8}}}}}}\n"
    f"  key: {{select: {{name: unit 2}}, attributes: {{state: {{uuid: {OWN}, as: uint16}}}}}}\n"
)
STEPS = """steps:
  - {connect: , device: lock}
  - {connect: , device: key}
  - {read: state, device: lock, expect: {value: {equals: 7}}}
  - {read: state, device: key, expect: {value: {equals: 513}}}
"""


def unit(number, value, more="", air="kind"):
    services = (
        "services:\n  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40\n    characteristics:\n"
        f"      - {{characteristic: {OWN}, as: hex, properties: [read, write], value: '{value}'}}"
    )
    return device_text(services, name=f"unit {number}", address=f"C4:00:00:00:00:0{number}", more=f"air: {air}\n{more}")


LOCK, KEY = unit(1, "07"), unit(2, "01 02")


def refused(tmp_path, text):
    path = tmp_path / "plan.yaml"
    path.write_text(text)
    with pytest.raises(PlanError) as caught:
        load_plan(path, {})
    return [(problem.message, problem.advice) for problem in caught.value.problems]


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
def test_each_step_reaches_its_device(air):
    """The two have the same attribute under one name, with a format of its own each."""
    ran = run(HEAD + STEPS, unit(1, "07", air=air), unit(2, "01 02", air=air))
    assert (ran.ended.exit_code, ran.verdicts()) == (0, ["pass"] * 4)
    assert {key: seen.address[-1] for key, seen in ran.record.devices.items()} == {"lock": "1", "key": "2"}
    assert [step.planned.name for step in ran.record.steps][2:] == ["read state (lock)", "read state (key)"]


def test_reports_name_the_device():
    ran = run(HEAD + STEPS.replace("device: key, expect", "device: key, name: the second, expect"), LOCK)
    rows = [*csv.DictReader(io.StringIO(csv_text(ran.record)))]
    assert [(row["step_name"], row["address"], row["device"]) for row in rows if row["step"] in "34"] == [
        ("read state (lock)", "C4:00:00:00:00:01", "lock"), ("the second (key)", "", "key")]  # fmt: skip
    assert explain.unit_title(ran.record) == "lock: unit 1, C4:00:00:00:00:01 (random); key: not known"
    suite = ET.fromstring(junit_xml(ran.record))
    facts = {each.get("name"): each.get("value") for each in suite.iter("property")}
    assert facts["device:lock:address"] == "C4:00:00:00:00:01"
    assert not {name for name in facts if name.startswith(("unit:", "device:key"))}


def test_the_limit_of_one_is_not_held_against_the_other():
    assert run(HEAD + STEPS, unit(1, "08"), KEY).verdicts() == ["pass", "pass", "fail", "pass"]


def test_a_lost_link_costs_only_what_needs_it():
    steps = STEPS + "  - {read: state, device: lock, name: again, expect: {value: {equals: 7}}}\n"
    ran = run(HEAD + steps.replace("  - {read: state, device: lock, expect", "  - wait: 2 s\n  - {read: state, device: lock, expect"),
              unit(1, "07", "faults: {disconnect_after: 1 s}"), KEY)  # fmt: skip
    assert ran.verdicts() == ["pass", "pass", "pass", "fail", "pass", "skip"]
    assert (ran.ended.cause, ran.ended.exit_code) == ("link", 1)
    [note] = [note for note in ran.record.notes if "the link of lock was lost" in note.text]
    assert note.device == "lock"


def test_an_absent_device_costs_only_what_needs_it():
    ran = run(HEAD + STEPS, LOCK)
    assert ran.verdicts() == ["pass", "fail", "pass", "skip"]


def test_a_device_that_fits_both_is_ambiguous():
    ran = run(HEAD.replace("unit 1", "unit*") + STEPS, LOCK, KEY)
    assert (ran.ended.cause, ran.ended.exit_code) == ("station", 7)


def test_a_device_that_is_another_one_by_its_address_is_named(tmp_path):
    """The lock is there, and nobody can tell: the plan says that it is the key."""
    ran = run(HEAD.replace("name: unit 2", "address: 'C4:00:00:00:00:01'") + STEPS, LOCK)
    assert "unit 1 C4:00:00:00:00:01 -50 dBm fits, and is another device of the plan" in ran.ended.message
    both = HEAD.replace("name: unit 1", "address: 'C4:00:00:00:00:01'").replace(
        "name: unit 2", "address: 'c4:00:00:00:00:01'"
    )
    [(message, _)] = refused(tmp_path, both + STEPS)
    assert message.startswith("two devices of the plan have the address c4:00:00:00:00:01: see ")


@pytest.mark.parametrize(
    ("only", "cleaned"),
    [
        ("3", ["state of lock"]),
        ("4", ["state of key"]),
        ("1", ["state of lock"]),
        ("5", ["state of lock", "state of key"]),
    ],
)
def test_a_part_of_a_plan_cleans_up_after_its_own_devices(only, cleaned):
    puts_back = "".join(
        f"  - {{write: state, device: {key}, name: state of {key}, value: {value}}}\n"
        for key, value in (("lock", 7), ("key", 513))
    )
    both = "  - group: both\n    steps:\n" + "".join(
        f"      - {{read: state, device: {key}, name: {key}, expect: {{value: {{min: 1}}}}}}\n"
        for key in ("lock", "key")
    )
    ran = run(HEAD + STEPS + both + "finally:\n" + puts_back, LOCK, KEY, only=[only])
    assert [
        step.planned.name.rpartition(" (")[0] for step in ran.record.steps if step.planned.section == "finally"
    ] == cleaned
    assert ran.ended.exit_code == (5 if only == "1" else 0), ran.ended.message


def test_a_group_says_it_for_its_steps():
    steps = (
        "steps:\n  - group: the key\n    device: key\n    steps:\n      - connect:\n"
        "      - {read: state, expect: {value: {equals: 513}}}\n      - {connect: , device: lock}\n"
        "      - repeat: 2\n        steps: [{read: state, device: lock, expect: {value: {equals: 7}}}]\n"
    )
    ran = run(HEAD + steps, LOCK, KEY)
    assert ran.ended.exit_code == 0, ran.ended.message
    assert {step.planned.device for step in ran.record.steps} == {"key", "lock"}


def test_the_clean_up_of_one_knows_nothing_of_the_other():
    ran = run(HEAD + STEPS + "finally:\n  - {write: state, device: key, value: 1}\n", LOCK)
    assert ran.verdicts()[-1] == "skip"
    ran = run(HEAD + STEPS + "finally:\n  - {write: state, device: key, value: 1}\n", KEY)
    assert ran.verdicts()[-1] == "pass"


def test_what_check_says(tmp_path):
    def said(steps, head=HEAD):
        return refused(tmp_path, head + "steps:\n" + steps)

    assert said("  - connect:\n") == [
        ("'connect' does not say which device it is about", "add device: and one of lock, key")
    ]
    assert said("  - {connect: , device: lok}\n")[0] == ("no device is named 'lok'", "did you mean 'lock'?")
    assert said("  - {connect: , device: lock}\n  - {read: state, device: key}\n")[0][0].startswith(
        "'read state (key)' needs"
    )
    single = "plan: one\ndevice: {select: {name: a}}\n"
    assert said("  - {connect: , device: a}\n", single)[0][0] == "the plan has one device, so every step is about that"
    both = HEAD + "device: {select: {name: a}}\n"
    assert said("  - {connect: , device: lock}\n", both)[0] == (
        "the plan has both device and devices",
        "keep one of the two",
    )
    assert said("  - {connect: , device: lock}\n", "plan: none\n")[0][0] == "the key 'device' is missing"
    bare = HEAD.replace("{name: unit 1}", "{name: '${nobody}'}")
    assert ("no value is given as 'nobody'", "name it under given:") in said("  - {connect: , device: lock}\n", bare)


def test_the_option_names_the_device_that_it_narrows(tmp_path):
    path = tmp_path / "plan.yaml"
    path.write_text(HEAD + STEPS)
    plan = load_plan(path, {})
    assert narrowed(plan, ["lock=unit 1", "key=C4:00:00:00:00:02"]) == {"lock": "unit 1", "key": "C4:00:00:00:00:02"}
    for wrong in (["unit 1"], ["lok=unit 1"], ["lock="], ["lock=a", "lock=b"]):
        with pytest.raises(UsageError):
            narrowed(plan, wrong)


def test_a_part_of_a_plan_takes_the_connection_of_its_own_device(tmp_path):
    path = tmp_path / "plan.yaml"
    path.write_text(HEAD + STEPS)
    assert [node.name for node in choose_steps(load_plan(path, {}), ["read state (key)"])] == [
        "connect (key)", "read state (key)"]  # fmt: skip


def test_a_plan_with_several_devices_has_no_only_one(tmp_path):
    path = tmp_path / "plan.yaml"
    path.write_text(HEAD + STEPS)
    with pytest.raises(UsageError, match="has several devices: lock, key"):
        _ = load_plan(path, {}).names


def test_a_stream_whose_link_is_lost_while_another_device_is_at_work_fails():
    """No step in it is about the link of the stream."""
    streams = ("[read, write]", "[notify], notify: {period: 100 ms}")
    lock, key = unit(1, "07").replace(*streams), unit(2, "01 02").replace(*streams)
    listen = (
        "  - listen: {state: }\n    device: lock\n    name: hear\n    steps: [{notify: state, device: key, for: 6 s}]\n"
        "    expect: {state.value: {equals: 7}, state.count: {min: 1}}\n"
    )
    plan = f"{HEAD}steps:\n  - {{connect: , device: lock}}\n  - {{connect: , device: key}}\n{listen}"
    assert run(plan, lock, key).ended.exit_code == 0
    lost = run(plan, lock.replace("air: kind", "air: kind\nfaults: {disconnect_after: 3 s}"), key).ended
    assert (lost.verdict, lost.cause, lost.root.node) == ("fail", "link", "3")


def test_a_secret_reaches_a_device_and_is_not_looked_for_on_the_air(tmp_path):
    head = HEAD.replace("uint8", "hex") + "given: {pin: {secret: true, length: 8}}\n"
    steps = "steps:\n  - {connect: , device: lock}\n  - {write: state, device: lock, raw: '${pin}', read_back: true, expect: {value: {equals: '${pin}'}}}\n"
    assert run(head + steps, LOCK, given={"pin": "DEADBEEF"}).ended.exit_code == 0
    [(message, _)] = refused(tmp_path, head.replace("name: unit 2", "name: '${pin}'") + steps)
    assert message == "the secret 'pin' would be looked for on the air"
