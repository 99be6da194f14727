"""Runs that are held to the unit in the slot: what it refuses, changes or tells late."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.line.floor_kit import Shop, here, slot
from tests.line.units import Unit, plan_text

__all__ = ["here"]

OWN = {"1": "left", "2": "right"}
SHARED = ("1", "2")
A, B = Unit(42), Unit(43)
ONCE = plan_text().replace("attempts: 3", "attempts: 1")
PAIRS = plan_text().replace("  - read: device", "  - pair:\n    within: 10 s\n  - read: device")


def rotating(unit: Unit, every: str) -> Unit:
    return unit.but(more=f"privacy: {{every: {every}}}\n")


@pytest.mark.parametrize("slots", [OWN, SHARED])
@pytest.mark.parametrize("every", ["10 min", "4 s"])
def test_a_unit_whose_address_changes_is_proven_and_passes(here: Path, every: str, slots) -> None:
    shop = Shop(here, slots, {"1": rotating(A, every), "2": rotating(B.but(battery=20), every)})
    shop.shift("1", A.serial, "2", B.serial)
    assert dict(shop.words) == {A.serial: "PASS", B.serial: "FAIL"}


def test_a_unit_that_refuses_its_first_connection_does_not_pass_for_having_been_asked(here: Path) -> None:
    unit = A.but(more="faults: {refuse_connections: 1}\n")
    shop = Shop(here, OWN, {"1": unit}, plan=ONCE)
    shop.shift("1", A.serial)
    assert shop.words == [(A.serial, "STOP")]
    assert "the plan allows 1" in slot(shop.line.view()).says


def test_the_same_where_the_plan_allows_it(here: Path) -> None:
    unit = A.but(more="faults: {refuse_connections: 1}\n")
    shop = Shop(here, OWN, {"1": unit})
    shop.shift("1", A.serial)
    assert shop.words == [(A.serial, "PASS")]


def test_a_unit_that_takes_no_connection_at_all_fails(here: Path) -> None:
    unit = A.but(more="faults: {refuse_connections: 1000}\n")
    shop = Shop(here, OWN, {"1": unit, "2": B})
    shop.shift("1", A.serial, "2", B.serial)
    assert dict(shop.words) == {A.serial: "FAIL", B.serial: "PASS"}
    assert shop.record(A.serial).cause == "link"


def test_a_unit_that_tells_its_serial_number_after_pairing_alone(here: Path) -> None:
    """Its level proves that it is in the slot, the run which unit it is; on a shared radio nothing does before the run."""
    secure = {"1": secured(A), "2": secured(B)}
    own = Shop(here, OWN, secure, plan=PAIRS)
    own.shift("1", A.serial)
    assert own.words == [(A.serial, "PASS")]


def test_on_a_shared_radio_nothing_tells_it_before_the_run(here: Path) -> None:
    shared = Shop(here, SHARED, {"1": secured(A)}, plan=PAIRS)
    shared.shift("1", A.serial)
    assert shared.words == [(A.serial, "STOP")]


def test_its_label_on_another_unit_fails(here: Path) -> None:
    shop = Shop(here, OWN, {"1": secured(B)}, plan=PAIRS)
    shop.shift("1", A.serial)
    assert shop.words == [(A.serial, "FAIL")]


def secured(unit: Unit) -> str:
    """It tells its serial number over an encrypted link alone."""
    text = unit.text.replace(
        "serial number string, properties: [read],", "serial number string, properties: [read], read_needs: encrypted,"
    )
    assert "read_needs" in text
    return text
