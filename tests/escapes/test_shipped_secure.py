"""The plans of the secure logger let no faulty unit pass but those that their reviewed files argue for."""

from __future__ import annotations

from functools import cache

import pytest

from benchrig.cli.operator import Unattended
from benchrig.escapes.launch import HuntOptions, hunted
from benchrig.escapes.results import Hunted
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from tests.run.kit import DEVICES, PLANS

LOGGER = RadioChoice("virtual", files=(DEVICES / "secure_logger.yaml",))
# no link with a short key and none with a key of legacy pairing is to be had, which both plans prove
HARMLESS = {"alarm limit: any size of the key", "owner: write_needs authenticated"}
pytestmark = [pytest.mark.slow, pytest.mark.timeout(1800)]


@cache
def of(name: str) -> Hunted:
    plan = load_plan(PLANS / f"{name}.yaml", {})
    return hunted(HuntOptions(plan, LOGGER, lambda path: load_plan(path, {})), Unattended())


@pytest.mark.parametrize("name", ["secure_end_of_line", "secure_nightly"])
def test_no_fault_escapes(name: str) -> None:
    made = of(name)
    assert len(made.results) >= 500
    wrong = {"escaped", "by luck", "blamed wrongly", "failed"}
    assert [each.fault.name for each in made.results if each.outcome in wrong] == []
    assert (made.stale, made.notes) == ([], [])


def test_each_fault_of_security_is_caught() -> None:
    found = [each for each in of("secure_end_of_line").results if each.fault.family == "security"]
    assert len(found) > 40
    assert {each.fault.name for each in found if each.outcome not in ("caught", "left")} == HARMLESS
