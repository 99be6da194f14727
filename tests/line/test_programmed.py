"""A line that writes the serial number into its units, which have all the same one when they come."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.line.proof import Absent, Expected, NotProven, Proven, Unconfirmed, WrongLabel
from tests.line.floor_kit import Shop, here, slot
from tests.line.proving import VFL, outcomes
from tests.line.units import Unit, plan_text

__all__ = ["here"]

OWN = {"1": "left", "2": "right"}
A, B = "VFL3-000042", "VFL3-000043"
BLANK = "VFL3-000000"
READ = "  - read: device information/serial number string\n"
PRODUCT = f"    blank: {BLANK}\n"


def blank(address: int, **changes: object) -> Unit:
    return Unit(0, address=address, mark=str(address)).but(**changes)


def writable(unit: Unit) -> str:
    return unit.text.replace(
        "serial number string, properties: [read]", "serial number string, properties: [read, write]"
    )


def programs(number: str) -> str:
    return plan_text().replace(
        READ, f"  - write: device information/serial number string\n    value: {number}\n{READ}", 1
    )


def shop_with(here: Path, plan: str, more: str = PRODUCT, slots: object = OWN, **units: Unit) -> Shop:
    there = {name.removeprefix("s"): writable(unit) for name, unit in units.items()}
    return Shop(here, slots, there, more=more, plan=plan)  # type: ignore[arg-type]


# --- runs


@pytest.mark.parametrize("slots", [OWN, ("1",)])
def test_a_unit_that_is_programmed_with_the_number_of_its_label_passes(here: Path, slots) -> None:
    shop = shop_with(here, programs("'${serial}'"), slots=slots, s1=blank(42))
    shop.shift("1", A)
    assert shop.words == [(A, "PASS")]


def test_two_units_with_the_same_number_before_are_both_programmed(here: Path) -> None:
    shop = shop_with(here, programs("'${serial}'"), s1=blank(42), s2=blank(43))
    shop.shift("1", A, "2", B)
    assert dict(shop.words) == {A: "PASS", B: "PASS"}


def test_one_that_was_not_programmed_fails(here: Path) -> None:
    shop = shop_with(here, plan_text(), s1=blank(42))
    shop.shift("1", A)
    assert (shop.words, shop.record(A).cause) == ([(A, "FAIL")], "limit")


def test_one_that_was_not_programmed_fails_also_where_the_plan_does_not_look(here: Path) -> None:
    shop = shop_with(here, plan_text(serial_step="read"), s1=blank(42))
    shop.shift("1", A)
    assert (shop.words, shop.record(A).cause) == ([(A, "FAIL")], "device")
    assert "before they are programmed" in slot(shop.line.view()).says


@pytest.mark.parametrize("serial_step", ["equals", "read"])
def test_one_that_was_programmed_with_another_number_does_not_pass(here: Path, serial_step: str) -> None:
    plan = (
        programs("'VFL3-000099'")
        if serial_step == "equals"
        else plan_text(serial_step="read").replace(
            READ, f"  - write: device information/serial number string\n    value: VFL3-000099\n{READ}", 1
        )
    )
    shop = shop_with(here, plan, s1=blank(42))
    shop.shift("1", A)
    assert shop.words == [(A, "FAIL")]


def test_a_programmed_unit_is_tested_again_as_itself(here: Path) -> None:
    """Its first run is on record with the number that it had before."""
    shop = shop_with(here, plan_text(), PRODUCT + "retest: {most: 1, causes: [limit]}\n", s1=blank(42))
    assert slot(shop.shift("1", A)).word == "FAIL"
    shop = shop_with(here, plan_text(), PRODUCT + "retest: {most: 1, causes: [limit]}\n", s1=Unit(42))
    assert slot(shop.shift("1", "RETEST", A)).word == "PASS"


def test_without_blank_the_number_is_that_of_another_unit(here: Path) -> None:
    shop = shop_with(here, programs("'${serial}'"), "", s1=blank(42))
    shop.shift("1", A)
    assert shop.words == [(A, "STOP")]


# --- proofs


@pytest.mark.parametrize(
    ("slots", "unit", "kind"),
    [
        (OWN, blank(42), Unconfirmed), (OWN, Unit(42), Proven), (OWN, Unit(77), WrongLabel), (("1", "2"), blank(42), NotProven),
    ],
)  # fmt: skip
def test_a_number_that_says_nothing_proves_nothing(tmp_path: Path, slots, unit: Unit, kind: type) -> None:
    label = Expected(A, A, "", VFL, BLANK)
    assert type(outcomes(tmp_path, {"1": unit}, {"1": label}, slots)["1"]) is kind


def test_a_label_with_that_number_is_nobodys(tmp_path: Path) -> None:
    label = Expected(BLANK, BLANK, "", VFL, BLANK)
    found = outcomes(tmp_path, {"1": blank(42)}, {"1": label}, OWN)["1"]
    assert isinstance(found, (Unconfirmed, Absent))
