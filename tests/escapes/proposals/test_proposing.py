"""Proposals are verified: they catch the fault, blame the right one, and pass the sound device."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest

from benchrig.escapes.hunting import Hunt, Hunting
from benchrig.escapes.proposals.candidate import Candidate, Cost
from benchrig.escapes.proposals.choosing import chosen
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.proposing import Proposals, good, made, propose
from benchrig.escapes.proposals.writing import proposals_text
from benchrig.escapes.trial import trial
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.mutation import added, replaced
from benchrig.plan.loader import load_plan
from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import ServiceSpec
from benchrig.radio.virtual.words import ServiceUuid
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_text
from tests.escapes.kit import LOW, fault, plan_of, sound
from tests.run.kit import device_text

STEPS = """  # the first value
  - read: temperature # why
    expect: {value: {min: 20 °C, max: 25 °C}}
"""
FOREIGN = fault(
    "table: another service",
    "",
    added(ServiceSpec(service=ServiceUuid.from_source("battery service"))),
    family="table",
    weight="grave",
)
HIDDEN = replace(fault("nothing", "", lambda device: device), name="nothing: at all")
ESCAPED = (LOW, FOREIGN, HIDDEN)


@cache
def asked(air: str | None = None) -> tuple[Ground, Proposals]:
    folder = Path(mkdtemp())
    plan = plan_of(folder, STEPS)
    ground = Ground(plan, plan.path.read_text(), replace(sound(folder), air=air), Unattended(), {})
    return ground, propose(ground, ESCAPED)


@pytest.mark.slow
def test_each_escape_has_a_change_that_catches_it_and_what_has_none_is_said() -> None:
    _, made = asked()
    by = {name: choice.candidate.title for choice in made.choices for name in choice.catches}
    assert by.keys() == {LOW.name, FOREIGN.name}
    assert "pressure" in by[LOW.name]
    assert by[FOREIGN.name] in ("the whole table", "what every device has")
    assert (made.left, made.wrongly) == ([HIDDEN.name], [])
    assert len(made.choices) == 2, "no change too many"


def test_the_plan_with_all_taken_keeps_what_was_written_and_catches_them() -> None:
    ground, made = asked()
    lines = made.text.splitlines()
    kept = [line for line in ground.text.splitlines() if line not in lines]
    assert kept == []
    plan = load_plan(ground.plan.path, {}, text=made.text)
    results = Hunting(Hunt(plan, ground.sound, Unattended(), jobs=1), [LOW, FOREIGN]).run()
    assert [each.outcome for each in results] == ["caught", "caught"]


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_no_good_device_fails_for_a_proposal(air: str) -> None:
    ground, made = asked()
    plan = load_plan(ground.plan.path, {}, text=made.text)
    for seed in range(20, 30):
        record = trial(plan, replace(ground.sound, air=air), Unattended(), seed=seed)
        assert record.ended is not None
        assert (record.ended.verdict, record.ended.message) == ("pass", "")


def test_proposals_are_told_with_what_they_cost() -> None:
    ground, made = asked()
    text = proposals_text(made, ground, len(ESCAPED))
    problems = Problems()
    assert read_text(text, "proposals", problems) is not None
    assert problems.found == []
    assert "2 changes of plan.yaml for 'unit 1': 2 of 3 escapes caught with all of them." in text
    assert "suits: any plan" in text
    assert f"left:\n  - '{HIDDEN.name}'" in text


def test_the_fewest_are_chosen_what_matters_most_first_and_what_takes_time_last() -> None:
    candidates = [Candidate("step", str(number), "") for number in range(4)]
    costs = [Cost(0.0), Cost(0.0), Cost(60.0), Cost(0.0)]
    faults: dict[str, Fault] = {
        "a": replace(LOW, name="a", weight="grave"), "b": replace(LOW, name="b"), "c": replace(LOW, name="c"),
    }  # fmt: skip
    by = frozenset
    assert chosen(candidates, costs, {"a": by({0}), "b": by({0, 1}), "c": by({0, 2})}, faults) == [0]
    assert chosen(candidates, costs, {"a": by({1, 2}), "b": by({2}), "c": by({3})}, faults) == [2, 3]
    assert chosen(candidates, costs, {"a": by({2, 3}), "b": by({2, 3}), "c": by()}, faults) == [3]


NAMED = """services:
  - service: device information
    characteristics:
      - {characteristic: model number, properties: [read], value: M-0001}
      - {characteristic: serial number, properties: [read], value: S-000001}
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [read], value: 21.5 °C}
spread:
  name: {text: 'unit {number}', digits: 2}
  values:
    - {of: model number, text: 'M-{number}', digits: 4, label: model}
    - {of: serial number, text: 'S-{number}', digits: 6, label: number}
"""
OWN = {"the unit's own serial number", "the unit's own device name", "the unit's own name"}


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_what_differs_from_unit_to_unit_is_no_limit_for_all(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, STEPS)
    (tmp_path / "device.yaml").write_text(device_text(NAMED, name="unit 01"), encoding="utf-8")
    problems = Problems()
    (unit,) = load_devices([tmp_path / "device.yaml"], problems)
    assert isinstance(unit, DeviceSpec)
    other = fault("model number: another", "device information/model number", replaced(value="N-0001"))
    for spread in (None, unit):
        ground = Ground(plan, plan.path.read_text(), Scene((unit,)), Unattended(), spread=spread)
        own = [each for each in made(ground) if each.title in OWN]
        assert {each.title for each in good(ground, own, lambda sentence: None)} == OWN, "each unit has its own"
        proposed = propose(ground, [other])
        text = proposals_text(proposed, ground, 1)
        assert ("equals: M-0001" in text, "has no 'spread'" in text) == (spread is None, spread is None), text
