"""The plans of the transport box let no faulty unit pass but those that their reviewed files argue for."""

from __future__ import annotations

import pytest

from benchrig.cli.operator import Unattended
from benchrig.escapes.launch import HuntOptions, hunted
from benchrig.escapes.results import Hunted
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from tests.run.kit import DEVICES, PLANS

BOX = RadioChoice("virtual", files=(DEVICES / "transport_box.yaml",))
# such as a unit can have on its own
AT_THE_LINE = (
    "advertising: 10 dB too weak",
    "temperature: stuck",
    "battery level: too low",
    "model number: of a variant",
    "serial number: of a neighbour",
    "settings: missing",
    "control 01 48 21: state.lock never comes to its end",
    "table: extra factory service",
    "control 07, later: does not sleep",
)


def of(name: str, *faults: str) -> Hunted:
    plan = load_plan(PLANS / f"{name}.yaml", {})
    return hunted(HuntOptions(plan, BOX, lambda path: load_plan(path, {}), names=faults), Unattended())


def outcomes(made: Hunted, *wanted: str) -> list[str]:
    return [each.fault.name for each in made.results if each.outcome in wanted]


@pytest.mark.slow
def test_what_a_unit_can_have_on_its_own_is_caught_at_the_line() -> None:
    assert {*outcomes(of("box_end_of_line", *AT_THE_LINE), "caught")} == {*AT_THE_LINE}


@pytest.mark.slow
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("name", ["box_end_of_line", "box_nightly"])
def test_no_fault_escapes(name: str) -> None:
    made = of(name)
    assert len(made.results) >= 300
    assert outcomes(made, "escaped", "by luck", "blamed wrongly", "failed") == []
    assert (made.stale, made.notes) == ([], [])
    assert len(outcomes(made, "argued")) <= 6
