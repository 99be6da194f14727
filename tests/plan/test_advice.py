"""Slips that people make, and the advice that gets them on: it must lead to a plan that is good."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan
from benchrig.radio.virtual import load_devices
from benchrig.source.problem import Problems
from benchrig.source.shape import Misfit
from benchrig.station.station import load_station
from benchrig.steps.attribute import Names
from tests.run.kit import DEVICES, PLANS

HEAD = "plan: a plan\ndevice:\n  select: {name: a}\n"


def problems(folder: Path, text: str) -> list[tuple[int, str, str]]:
    """Line, message and advice of every problem of a plan."""
    path = folder / "plan.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as caught:
        load_plan(path)
    return [(each.place.line, each.message, each.advice) for each in caught.value.problems]


@pytest.mark.parametrize(
    ("written", "meant"),
    [("5 sec", "s"), ("500 milliseconds", "ms"), ("2 Minutes", "min")],
)
def test_spelled_out_units(tmp_path: Path, written: str, meant: str) -> None:
    [(_, _, advice)] = problems(tmp_path, f"{HEAD}steps:\n  - wait: {written}\n")
    assert advice == f"did you mean '{meant}'?"


def test_a_uuid_one_digit_short_is_counted(tmp_path: Path) -> None:
    plan = f"{HEAD}steps:\n  - connect:\n  - read: temperature\n"
    own = "  attributes:\n    own: {uuid: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e4}\n"
    [(_, _, advice)] = problems(tmp_path, plan.replace("steps:", own + "steps:"))
    assert advice == "write parts of 8-4-4-4-12 digits; '2f0f6c1d7e4' has 11"


@pytest.mark.parametrize(
    ("written", "advice"),
    [
        ("6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e4", "write parts of 8-4-4-4-12 digits; '2f0f6c1d7e4' has 11"),
        ("6b1d0002-9a533-4c86-8a3e-2f0f6c1d7e40", "write parts of 8-4-4-4-12 digits; '9a533' has 5"),
        ("6b1d0002-9a53-4c86-8a3e2f0f6c1d7e40", "write parts of 8-4-4-4-12 digits, here 8-4-4-16"),
    ],
)
def test_digits_are_counted_wherever_a_uuid_stands(tmp_path: Path, written: str, advice: str) -> None:
    [(_, _, in_step)] = problems(tmp_path, f"{HEAD}steps:\n  - connect:\n  - read: {written}\n")
    device = tmp_path / "device.yaml"
    device.write_text(f"device: one\nservices:\n  - service: {written}\n", encoding="utf-8")
    in_device = Problems()
    load_devices([device], in_device)
    with pytest.raises(Misfit) as of_service:
        Names().service(written)
    assert [in_step, in_device.found[0].advice, of_service.value.advice] == [advice] * 3


def test_half_a_byte(tmp_path: Path) -> None:
    [(_, message, advice)] = problems(tmp_path, f"{HEAD}steps:\n  - connect:\n  - write: '0xFFF0'\n    raw: '123'\n")
    assert "found the text '123'" in message
    assert "one digit is left over" in advice


def test_steps_below_device(tmp_path: Path) -> None:
    found = problems(tmp_path, f"{HEAD}  steps:\n    - scan:\n")
    assert (4, "unknown key 'steps'", "write it beside 'device', not in it") in found


def test_an_open_bracket_is_found_where_it_begins(tmp_path: Path) -> None:
    [(line, _, advice)] = problems(tmp_path, "plan: a\ndevice: {select: {name: a}\nsteps:\n  - scan:\n")
    assert (line, advice) == (3, "is the '{' of line 2 closed?")


def test_what_yaml_readers_dispute_hides_nothing_else(tmp_path: Path) -> None:
    found = problems(tmp_path, f"{HEAD}steps:\n  - scan:\n    for: 010\n  - raed: x\n")
    assert [(line, message.split()[0]) for line, message, _ in found] == [(6, "the"), (7, "no")]


def test_a_device_file_is_no_plan() -> None:
    with pytest.raises(PlanError) as caught:
        load_plan(DEVICES / "logger.yaml")
    assert [each.message for each in caught.value.problems] == ["this is a device file, not a plan"]


@pytest.mark.parametrize(
    ("text", "advice"),
    [
        ("# nothing\n", "write at least 'device:' with a name, or 'others:', for example: device: my unit"),
        ("device: one\nrssi: -50\n", "for example: {mean: -50 dBm, spread: 2 dB}"),
        ("device: one\ngeneric_access: yes\n", "quote it if it is text: 'yes'; write true or false if it is not"),
        ("device: one\nyes: 1\n", "quote it if it is text: 'yes'; write true or false if it is not"),
    ],
)
def test_a_device_file_has_one_advice_a_place(tmp_path: Path, text: str, advice: str) -> None:
    path = tmp_path / "device.yaml"
    path.write_text(text, encoding="utf-8")
    found = Problems()
    assert load_devices([path], found) == []
    assert [problem.advice for problem in found.found] == [advice]


def test_an_empty_station_file(tmp_path: Path) -> None:
    path = tmp_path / "station.yaml"
    path.write_text("", encoding="utf-8")
    with pytest.raises(PlanError, match="write at least 'station:' with a name"):
        load_station(path)


def test_a_plan_is_no_device_file() -> None:
    found = Problems()
    assert load_devices([PLANS / "smoke.yaml"], found) == []
    assert [each.message for each in found.found] == ["this is a plan, not a device file"]


def test_a_number_is_expected_of_an_attribute_without_a_format(tmp_path: Path) -> None:
    steps = "steps:\n  - connect:\n  - read: '0xFFF0'\n    expect: {value: {min: 3}}\n"
    [(_, _, advice)] = problems(tmp_path, HEAD + steps)
    assert "give the attribute a format" in advice
