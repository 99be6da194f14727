"""What keeps a unit from passing beside all steps of its plan."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from benchrig.errors import BenchrigError, DeviceError, StationError, WrongDevice
from benchrig.history.place import Place
from benchrig.line.doubled import LastCheck, attempts_of, doubled
from benchrig.line.events import UnitBegan
from benchrig.line.known_units import Before, before_in, line_units
from benchrig.line.proof import Absent, Expected, NotProven, Outcome, Proven, Unconfirmed, WrongLabel
from benchrig.plan.loader import load_plan
from benchrig.record.aggregate import build_record
from benchrig.record.events import AttemptFailed, Closed, DeviceSeen, Opened, PlannedNode, Where
from benchrig.record.line_part import Purpose
from benchrig.record.model import Record
from benchrig.station.products import AddressRange, AddressText
from tests.history.questions.kit import entry, file_of
from tests.line.events import began, ended
from tests.line.units import plan_text
from tests.record.examples import run_started

A, B, C = (f"C4:00:00:00:00:0{letter}" for letter in "ABC")
ROTATING = "4A:11:22:33:44:55"
LABEL = Expected("L", "S1")
WITH_ADDRESS = Expected("L", "S1", A)
BY_SERIAL = Proven(A, "S1")
RANGE = AddressRange(AddressText(A), AddressText(B))


def run_of(*serials: str, address: str = A, kind: str = "random", tries: int = 1) -> Record:
    """Of a unit that told these serial numbers; it was connected to at the last of so many tries."""
    where = Where("1")
    seen = [DeviceSeen(0.1, address, kind)] if address else []
    connect = [Opened(where, 0.2)]
    connect += [AttemptFailed(Where("1", attempt=n), 0.2, "link", "no answer") for n in range(1, tries)]
    connect += [Closed(where, 0.3, 0.1, "pass", attempts=tries)]
    told = [DeviceSeen(0.4, serial=serial) for serial in serials]
    return build_record([run_started(PlannedNode("1", "connect", "connect", "p:1")), *seen, *connect, *told])


def checked(
    record: Record, outcome: Outcome = BY_SERIAL, label: Expected = LABEL, *before: Before, **more: object
) -> BenchrigError | None:
    return asyncio.run(LastCheck(outcome, label, lambda: before, **more)(record))  # type: ignore[arg-type]


def unit(serial: str, address: str, number: int = 1, purpose: Purpose = "unit") -> Before:
    at = datetime(2026, 11, 2, tzinfo=UTC) + timedelta(minutes=number)
    return Before(serial, address, f"run-{number}", at, purpose, f"folder-{number}")


# --- whether it is the unit

MUTE = Proven(A, how="address")
ROWS = {
    "it told its serial number": (run_of("S1"), BY_SERIAL, LABEL, None),
    "it told another one than it was asked for": (run_of("S2"), BY_SERIAL, LABEL, WrongDevice),
    "it told two": (run_of("S1", "S2"), BY_SERIAL, LABEL, WrongDevice),
    "it told none in the run": (run_of(), BY_SERIAL, LABEL, StationError),
    "another address": (run_of("S1", address=B), BY_SERIAL, LABEL, WrongDevice),
    "an address that changes": (run_of("S1", address=ROTATING), Proven(C, "S1", private=True), LABEL, None),
    "an address that has not changed yet, no serial number": (run_of(address=ROTATING), Proven(ROTATING, "S1", private=True), LABEL, StationError),
    "an address that changes, no serial number": (run_of(address=ROTATING), Proven(C, "S1", private=True), LABEL, WrongDevice),
    "its address, and it tells no serial number": (run_of(), MUTE, WITH_ADDRESS, None),
    "its address, and it told the serial number once": (run_of(), Proven(A, "S1", how="address"), WITH_ADDRESS, StationError),
    "its address, another serial number in the run": (run_of("S2"), MUTE, WITH_ADDRESS, DeviceError),
    "its address, no serial number wanted": (run_of("S2"), MUTE, Expected("L", "", A), None),
    "the strongest": (run_of("S7"), Proven(A, "S7", how="strongest"), Expected("L"), None),
    "the strongest, and then another one": (run_of("S8"), Proven(A, "S7", how="strongest"), Expected("L"), WrongDevice),
    "silent when it was asked, then its serial number": (run_of("S1"), Unconfirmed(A), LABEL, None),
    "silent, then none": (run_of(), Unconfirmed(A), LABEL, StationError),
    "silent, then another one": (run_of("S2"), Unconfirmed(A), LABEL, DeviceError),
    "silent and not surely in the slot, then another one": (run_of("S2"), Unconfirmed(A, sure=False), LABEL, WrongDevice),
    "a wrong label, whatever the plan says": (run_of("S2"), WrongLabel(A, "S2", why="another"), LABEL, DeviceError),
    "a wrong label, and suddenly the right one": (run_of("S1"), WrongLabel(A, "S2", why="another"), LABEL, WrongDevice),
    "a wrong label, nothing read": (run_of(), WrongLabel(A, "S2", why="another"), LABEL, DeviceError),
    "absent": (run_of(address=""), Absent("gone"), LABEL, None),
    "absent, and another one was taken": (run_of("S2"), Absent("gone"), LABEL, WrongDevice),
    "absent, and one was taken that told nothing": (run_of(), Absent("gone"), LABEL, StationError),
    "not proven": (run_of("S1"), NotProven("why"), LABEL, StationError),
}  # fmt: skip


@pytest.mark.parametrize("row", ROWS)
def test_whose_record_it_is(row: str) -> None:
    record, outcome, label, kind = ROWS[row]
    error = checked(record, outcome, label)
    assert type(error) is (kind or type(None)), error


@pytest.mark.parametrize(("failed", "tries", "attempts", "passes"), [
    (0, 1, 1, True), (1, 1, 1, False), (1, 1, 2, True), (1, 2, 2, False), (2, 1, 3, True), (0, 3, 3, True),
])  # fmt: skip
def test_a_connection_that_was_refused_before_counts_as_an_attempt(failed, tries, attempts, passes) -> None:
    outcome = Proven(A, "S1", failed=failed)
    assert (checked(run_of("S1", tries=tries), outcome, attempts=attempts) is None) == passes


def test_the_attempts_of_a_plan(tmp_path: Path) -> None:
    file = tmp_path / "plan.yaml"
    file.write_text(plan_text())
    assert attempts_of(load_plan(file, {"serial": "VFL3-000001"})) == 3


# --- whether it is the only one


@pytest.mark.parametrize("before", [(), (unit("S1", A),), (unit("S2", B),), (unit("S1", A), unit("S1", B, 2))])
def test_nobody_else_has_its_numbers(before) -> None:
    """The last: a copy of it that was there later."""
    assert checked(run_of("S1"), BY_SERIAL, LABEL, *before) is None


@pytest.mark.parametrize("before", [unit("S1", B), unit("S2", A)])
def test_another_unit_has_its_serial_number_or_its_address(before) -> None:
    error = checked(run_of("S1"), BY_SERIAL, LABEL, before)
    assert isinstance(error, DeviceError)
    assert "run-1 (folder-1)" in error.message


def test_a_radio_that_was_replaced() -> None:
    old = unit("S1", B)
    assert checked(run_of("S1"), BY_SERIAL, LABEL, old, purpose="repaired", after="FAIL") is None
    assert isinstance(checked(run_of("S1"), BY_SERIAL, LABEL, old, purpose="repaired", after="PASS"), DeviceError)
    assert checked(run_of("S1"), BY_SERIAL, LABEL, old, unit("S1", A, 2, "repaired"), purpose="retest") is None
    assert isinstance(
        checked(run_of("S1"), BY_SERIAL, LABEL, unit("S2", A), purpose="repaired", after="FAIL"), DeviceError
    )


def test_an_address_that_changes_is_nobodys() -> None:
    record = run_of("S1", address=ROTATING)
    assert checked(record, Proven(ROTATING, "S1", private=True), LABEL, unit("S2", ROTATING)) is None


@pytest.mark.parametrize("purpose", ["golden", "known bad", "clean-up"])
def test_a_unit_of_the_station_is_no_double(purpose) -> None:
    assert checked(run_of("S1"), BY_SERIAL, LABEL, unit("S1", B), purpose=purpose, addresses=AddressRange(C, C)) is None


def test_a_wrong_label_names_who_has_the_serial_number() -> None:
    error = checked(run_of("S2"), WrongLabel(A, "S2", why="the unit is S2"), LABEL, unit("S2", B))
    assert error is not None
    assert "the unit is S2" in error.message
    assert "run-1" in error.message


@pytest.mark.parametrize(("address", "kind"), [(A, None), (B, None), (C, DeviceError), (ROTATING, StationError)])
def test_the_addresses_of_a_product(address, kind) -> None:
    outcome = Proven(address, "S1", address == ROTATING)
    assert type(checked(run_of("S1", address=address), outcome, addresses=RANGE)) is (kind or type(None))


known = st.lists(
    st.builds(unit, st.sampled_from(["S1", "S2"]), st.sampled_from([A, B]), st.integers(1, 9)), max_size=5
).map(lambda all_: sorted(all_, key=lambda each: each.started))


@given(known)
def test_two_units_with_one_number_never_both_have_the_right_to_it(before) -> None:
    with_s1 = [address for address in (A, B) if doubled("S1", address, before) is None]
    assert len(with_s1) <= 1 or not any(each.serial == "S1" for each in before)


@given(known)
def test_who_was_first_keeps_it(before) -> None:
    """Unless an earlier unit has the address: of two rights the older one is not known to be this unit's."""
    if before and before[0].serial == "S1":
        assert doubled("S1", before[0].address, before) is None


# --- where the units come from


def test_the_history_knows_other_units(tmp_path: Path) -> None:
    entries = [
        entry(1, unit="S1", address=B, purpose="unit"),
        entry(2, unit="S1", address=C, verdict="error", cause="station"),
        entry(3, unit="S1", address=C, simulated=True),
        entry(4, unit="S2", address=A),
        entry(5, unit="S3", address=C),
    ]
    file = file_of(tmp_path, entries)
    found, trouble = before_in(Place(str(file), file), "S1", A, simulated=False)
    assert (sorted((each.serial, each.address) for each in found), trouble) == ([("S1", B), ("S2", A)], "")
    error = checked(run_of("S1"), history=Place(str(file), file))
    assert isinstance(error, DeviceError)
    assert "run-000001" in error.message


def test_a_history_that_is_away_costs_a_note(tmp_path: Path) -> None:
    (tmp_path / "history.sqlite").write_text("no database")
    place = Place("history", tmp_path / "history.sqlite")
    check = LastCheck(BY_SERIAL, LABEL, lambda: [unit("S1", B)], history=place)
    assert isinstance(asyncio.run(check(run_of("S1"))), DeviceError)
    assert "was not asked" in check.notes[0]
    assert before_in(Place("none", tmp_path / "none.sqlite"), "S1", A, simulated=False) == ([], "")


def numbered(serial: str) -> UnitBegan:
    return replace(began(serial), serial=serial)


def test_the_units_of_a_line() -> None:
    events = [
        numbered("S1"), ended("S1", address=A), numbered("S2"), ended("S2", "STOP", "station", address=B),
        numbered("S3"), ended("S3"), numbered("S4"), began("lot 5"), ended("lot 5", serial="S5", address=C),
    ]  # fmt: skip
    assert [(each.serial, each.address) for each in line_units(events)] == [("S1", A), ("S5", C)]
