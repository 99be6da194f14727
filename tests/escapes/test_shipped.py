"""The plans of the logger let no faulty unit pass but those that their reviewed files argue for."""

from __future__ import annotations

from functools import cache

import pytest

from benchrig.cli.operator import Unattended
from benchrig.escapes.launch import HuntOptions, hunted
from benchrig.escapes.results import Hunted
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from tests.escapes.broken import Broken, broken
from tests.run.kit import DEVICES, PLANS, run

LOGGER = RadioChoice("virtual", files=(DEVICES / "logger.yaml",))
# one of each family, such as a unit can have on its own
AT_THE_LINE = (
    "temperature: stuck",
    "table: extra factory service",
    "advertising: 20 dB too weak",
    "battery level: never sent",
    "alarm limit: write refused",
    "command: answers late",
    "link: ends after 3 s",
    "bench: wrong unit in the fixture",
)


@cache
def of(name: str, *faults: str) -> Hunted:
    plan = load_plan(PLANS / f"{name}.yaml", {})
    return hunted(HuntOptions(plan, LOGGER, lambda path: load_plan(path, {}), names=faults), Unattended())


def outcomes(made: Hunted, *wanted: str) -> list[str]:
    return [each.fault.name for each in made.results if each.outcome in wanted]


def test_a_fault_of_each_family_is_caught_at_the_line() -> None:
    assert {*outcomes(of("end_of_line", *AT_THE_LINE), "caught")} == {*AT_THE_LINE}


def test_what_is_left_to_the_nightly_is_caught_there() -> None:
    assert outcomes(of("end_of_line", "restart: everything lost"), "left") == ["restart: everything lost"]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["end_of_line", "nightly_regression"])
def test_no_fault_escapes(name: str) -> None:
    made = of(name)
    assert len(made.results) >= 300
    assert outcomes(made, "escaped", "by luck", "blamed wrongly", "failed") == []
    assert (made.stale, made.notes) == ([], [])
    assert len(outcomes(made, "argued")) <= 9


@pytest.mark.slow
def test_units_that_were_broken_by_hand_are_caught() -> None:
    """By people who had not seen the model of faults."""
    passed = [
        unit.fault
        for unit in broken("logger")
        if all(_passes(name, unit) for name in ("end_of_line", "nightly_regression"))
    ]
    assert passed == []


def _passes(name: str, unit: Broken) -> bool:
    return run(PLANS / f"{name}.yaml", unit.text, seed=0).ended.verdict == "pass"
