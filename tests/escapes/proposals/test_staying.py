"""What is measured is held to itself, and limits on it to what all good units of a device file give."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.proposing import _asking, good, made, propose
from benchrig.escapes.proposals.taking import without_what_is_wrong
from benchrig.escapes.trial import trial
from benchrig.faults.fault import Scene
from benchrig.faults.registry import fault_named
from benchrig.plan.loader import load_plan
from benchrig.radio.virtual.spread import unit_of
from benchrig.run.unattended import Unattended
from tests.escapes.proposals.drafts import DEVICES, devices_of, drafted_plan, spread_of

HUMID = """
device: unit 1
advertising: {data: {name: unit 1}}
services:
  - service: environmental sensing
    characteristics:
      - {characteristic: humidity, properties: [read], value: 43.5 %}
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {characteristic: 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, name: alarm, as: uint16, properties: [read, write], value: 5}
spread: {values: [{of: humidity, from: 30 %, to: 60 %}]}
"""
JUMPS = ("humidity: right only once", "humidity: spoiled by a write to alarm")


def ground_of(device: str | Path, folder: Path) -> Ground:
    devices = devices_of(device, folder)
    path, sound = folder / "plan.yaml", Scene(devices)
    path.write_text(drafted_plan(sound), encoding="utf-8")
    plan = load_plan(path, {})
    return Ground(plan, path.read_text("utf-8"), sound, Unattended(), spread=spread_of(devices))


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_a_value_that_jumps_is_noticed_where_good_units_lie_far_apart(tmp_path: Path) -> None:
    path, ground = tmp_path / "plan.yaml", ground_of(HUMID, tmp_path)
    text = "".join(line for line in ground.text.splitlines(True) if "value: {min: 39.14 %" not in line)
    path.write_text(text, encoding="utf-8")
    ground = replace(ground, plan=load_plan(path, {}), text=text)
    proposed = propose(ground, [fault_named(ground.sound, name) for name in JUMPS])
    assert (proposed.left, proposed.wrongly) == ([], [])
    assert ground.spread is not None
    for number in range(20, 26):
        scene = ground.scenes()[-1].with_unit(unit_of(ground.spread, number).device)
        record = trial(ground.loaded(proposed.text), scene, Unattended(), seed=number)
        assert record.ended is not None
        assert record.ended.verdict == "pass", record.ended.message


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_steps_are_proposed_with_limits_that_all_good_loggers_pass(tmp_path: Path) -> None:
    """The draft of one of them says less of the room, and of rough air."""
    ground = ground_of(DEVICES["logger"], tmp_path)
    found = made(ground)
    asked = [_asking(each) for each in found]
    assert len(without_what_is_wrong(ground, asked)) == len(found), "none that `check` refuses"
    wanted = {"notify own 6b1d0004", "humidity once more", "the answer of command to 00"}
    kept = good(ground, [each for each in found if each.title in wanted], lambda sentence: None)
    assert {each.title for each in kept} == wanted
    expect = {name: limit for each in kept for step in each.steps for name, limit in step.expect.items()}
    assert {"gap_max", "value.supply", "response_time"} <= expect.keys()
