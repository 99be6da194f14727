"""Devices that nothing can tell apart, and those that something can."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import msgspec
import pytest

from benchrig.escapes.rules import equivalent
from benchrig.escapes.stopping import tried
from benchrig.faults.fault import Scene, on_unit
from benchrig.faults.mutation import Mutation, replaced
from benchrig.faults.registry import fault_named
from benchrig.radio.virtual.behaviours import Disconnect
from benchrig.radio.virtual.distortion_spec import DistortionSpec
from benchrig.radio.virtual.reaction_spec import ReadSpec
from tests.draft.devices import CLOCK, HEART, SHELVES, THERMOMETER
from tests.escapes.kit import SENSING, hunt, plan_of, sound, written
from tests.radio.virtual.bench import models
from tests.run.kit import device_text

PRESSURE = f"{SENSING}/pressure"
BENT = replaced(distorted=DistortionSpec(how="swapped bytes"))
# No read in the table, and asked for all the same.
ASKS = "  - read: pressure\n    expect: {att_error: {equals: read not permitted}}\n"


def with_properties(folder: Path, *words: str, hidden: tuple[str, ...] = ()) -> Scene:
    written(folder, ASKS)
    change = replaced(properties=[*words], hidden=[*hidden])
    return on_unit(Mutation("", PRESSURE, change))(sound(folder))


def bent(scene: Scene) -> Scene:
    return on_unit(Mutation("", PRESSURE, BENT))(scene)


def test_a_value_that_never_leaves_cannot_be_told_to_be_wrong(tmp_path: Path) -> None:
    plan = plan_of(tmp_path, ASKS)
    silent = with_properties(tmp_path, "write")
    assert "never leaves the device" in equivalent(bent(silent), silent)
    operator = hunt(tmp_path).operator
    assert tried(plan, bent(silent), operator, 0, whole=True) == tried(plan, silent, operator, 0, whole=True)


@pytest.mark.parametrize("words", [("read",), ("write", "notify"), ("write", "indicate")])
def test_one_that_can_be_asked_for_or_listened_to_can(tmp_path: Path, words: tuple[str, ...]) -> None:
    open_ = with_properties(tmp_path, *words)
    assert equivalent(bent(open_), open_) == ""
    secretly = with_properties(tmp_path, "write", hidden=words[-1:])
    assert equivalent(bent(secretly), secretly) == ""


def test_whatever_else_differs_is_no_equivalence(tmp_path: Path) -> None:
    silent = with_properties(tmp_path, "write")
    other = on_unit(Mutation("", SENSING, replaced(characteristics=[])))(silent)
    assert equivalent(other, silent) == ""
    assert equivalent(replace(bent(silent), air="rough"), silent) == ""
    assert equivalent(replace(bent(silent), befalls=(lambda radio: None,)), silent) == ""
    beside = msgspec.structs.replace(silent.unit, device="unit 2")
    assert equivalent(replace(bent(silent), devices=(*bent(silent).devices, beside)), silent) == ""


WRITES_IT = "on_connect:\n  - {set: {serial number: NEW}}\n"
DEPENDS = "on_connect:\n  - {print: '{heart rate control point}'}\n"


# What was written, or told as a change, decides how a link goes on, or can be read.
COMMANDS = """services:
  - service: 0000fff0-0000-1000-8000-00805f9b34fb
    characteristics:
      - {characteristic: 0000fff1-0000-1000-8000-00805f9b34fb, name: code, properties: [%s], as: uint8, value: 0}
      - characteristic: 0000fff2-0000-1000-8000-00805f9b34fb
        name: control
        properties: [write]
        raw: ''
        on_write: {store: false, cases: [{starts_with: '01', %s}]}
"""
GATED = device_text(COMMANDS % ("write", "only_if: {code: 1}, disconnect: true"))
TOLD = device_text(COMMANDS % ("read, notify", "notify: {code: {states: [{value: 1, for: 1 s}, {value: 2}]}}"))


@pytest.mark.parametrize(
    ("device", "is_equivalent"),
    [
        (GATED, False),
        (TOLD, False),
        (SHELVES[0], True),  # constants and noise that nobody can write
        (HEART, True),  # what is written there can never be asked for
        (THERMOMETER, False),  # a setting
        (CLOCK, False),  # a counter
        (SHELVES[0] + WRITES_IT, False),
        (HEART + DEPENDS, False),
    ],
)
def test_a_restart_loses_nothing_where_nothing_moves(device: str, is_equivalent: bool) -> None:
    whole = Scene(tuple(models(device)))
    broken = fault_named(whole, "restart: everything lost").scene(whole)
    assert bool(equivalent(broken, whole)) is is_equivalent


def test_what_nobody_may_ask_for_does_nothing(tmp_path: Path) -> None:
    closed = on_unit(Mutation("", PRESSURE, replaced(properties=["read", "write"], authorized=False)))
    ends = on_unit(Mutation("", PRESSURE, replaced(on_read=ReadSpec(behaviours=(Disconnect(disconnect=True),)))))
    steps = "  - read: pressure\n    expect: {att_error: {equals: insufficient authorization}}\n"
    plan, open_ = plan_of(tmp_path, steps), sound(tmp_path)
    assert "nobody is authorized" in equivalent(ends(closed(open_)), closed(open_))
    operator = hunt(tmp_path).operator
    assert tried(plan, ends(closed(open_)), operator, 0, whole=True) == tried(
        plan, closed(open_), operator, 0, whole=True
    )
    assert equivalent(ends(open_), open_) == ""
    assert equivalent(open_, closed(open_)) == ""


def test_one_request_that_is_lost_is_the_air() -> None:
    whole = Scene(tuple(models(HEART)))
    lost = [fault_named(whole, f"link: {kind}") for kind in ("needs two attempts", "second one refused")]
    assert all("lost in the life of the unit" in equivalent(fault.scene(whole), whole) for fault in lost)
    assert equivalent(lost[1].scene(lost[0].scene(whole)), whole) == ""
    for kind in ("needs three attempts", "each second one refused", "takes one alone", "takes five alone"):
        assert equivalent(fault_named(whole, f"link: {kind}").scene(whole), whole) == "", kind
