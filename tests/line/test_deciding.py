"""Which unit is in a slot, row by row, and what holds of any scene."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.line.proof import Absent, Claim, Elsewhere, NotProven, Outcome, Place, Proven, Unconfirmed, WrongLabel
from tests.line.deciding import ALONE, OWN, SHARED, Device, expected, proved, proven_address

A, B, C = (f"C4:00:00:00:00:0{letter}" for letter in "ABC")
ROTATING = "4A:11:22:33:44:55"

# what is expected, the devices, the radios of the slots, what it comes to in slot 1
ROWS = {
    "its serial number": (expected("S1"), [Device(A, "S1")], OWN, Proven),
    "its serial number, one slot": (expected("S1"), [Device(A, "S1")], ALONE, Proven),
    "its serial number, a shared radio": (expected("S1"), [Device(A, "S1"), Device(B, "S2", "2")], SHARED, Proven),
    "its address": (expected(address="A"), [Device(A), Device(B, "", "2")], SHARED, Proven),
    "its address, and it takes no connection": (expected("S1", "A"), [Device(A, None)], SHARED, Proven),
    "its address, no serial number": (expected("S1", "A"), [Device(A, "")], SHARED, Proven),
    "its address, another serial number": (expected("S1", "A"), [Device(A, "S9")], SHARED, WrongLabel),
    "its serial number, another address": (expected("S1", "A"), [Device(B, "S1")], SHARED, WrongLabel),
    "its serial number under a changing address": (expected("S1", "A"), [Device(ROTATING, "S1", stays=False)], SHARED, Proven),
    "an address alone, and it changes": (expected(address="A"), [Device(ROTATING, "S1", stays=False)], ALONE, NotProven),
    "an address alone, another one in the slot": (expected(address="A"), [Device(B, "S1")], OWN, WrongLabel),
    "an address alone, another one near": (expected(address="A"), [Device(B, "S1")], SHARED, Absent),
    "nothing": (expected("S1"), [], OWN, Absent),
    "nothing, but the unit of another slot": (expected("S1"), [Device(B, "S2", "2")], OWN, Absent),
    "nothing, a shared radio": (expected("S1"), [], SHARED, Absent),
    "another one, one slot": (expected("S1"), [Device(B, "S2")], ALONE, NotProven),
    "another one, one slot, at the level of its fixture": (expected("S1"), [Device(B, "S2", at_level=True)], ALONE, WrongLabel),
    "another one, own radio": (expected("S1"), [Device(B, "S2")], OWN, WrongLabel),
    "another one, a shared radio": (expected("S1"), [Device(B, "S2")], SHARED, NotProven),
    "swapped": (expected("S1"), [Device(A, "S1", "2"), Device(B, "S2", "1")], OWN, Elsewhere),
    "in another slot alone": (expected("S1"), [Device(A, "S1", "2")], OWN, Elsewhere),
    "its address in another slot": (expected(address="A"), [Device(A, slot="2")], OWN, Elsewhere),
    "takes no connection, one slot": (expected("S1"), [Device(A, None)], ALONE, Unconfirmed),
    "takes no connection, own radio": (expected("S1"), [Device(A, None), Device(B, "S2", "2")], OWN, Unconfirmed),
    "takes no connection, a shared radio": (expected("S1"), [Device(A, None)], SHARED, NotProven),
    "tells no serial number, own radio": (expected("S1"), [Device(A, "")], OWN, Unconfirmed),
    "tells no serial number, a shared radio": (expected("S1"), [Device(A, "")], SHARED, NotProven),
    "one that lies near": (expected("S1"), [Device(A, "S1"), Device(B, "S2", level=-70)], ALONE, Proven),
    "one that lies as near": (expected("S1"), [Device(A, "S1", level=-50), Device(B, "S2")], ALONE, Proven),
    "in the slot is another one, the unit lies near": (expected("S1"), [Device(A, "S1", level=-70), Device(B, "S2")], ALONE, NotProven),
    "two in the slot": (expected("S1"), [Device(A, "S1"), Device(B, "S2", level=-50)], OWN, NotProven),
    "two in the slot, one much louder": (expected("S1"), [Device(A, "S1", level=-60), Device(B, "S1")], OWN, NotProven),
    "one that lies near the slot": (expected("S1"), [Device(A, "S1"), Device(B, "S2", "", near={"a": -80, "b": -95})], OWN, Proven),
    "two with the serial number": (expected("S1"), [Device(A, "S1"), Device(B, "S1", level=-50)], SHARED, NotProven),
    "as near to two slots": (expected("S1"), [Device(A, "S1", "", near={"a": -50, "b": -55})], OWN, NotProven),
    "no serial number in the barcode": (expected(), [Device(A, "S1"), Device(B, "S2", "2")], OWN, Proven),
    "no serial number at all": (expected(), [Device(A, "")], OWN, Unconfirmed),
    "no serial number in the barcode, a shared radio": (expected(), [Device(A, "S1")], SHARED, NotProven),
    "no serial number in the barcode, none leads": (expected(), [Device(A, "S1"), Device(B, "S2", level=-50)], ALONE, NotProven),
}  # fmt: skip


@pytest.mark.parametrize("row", ROWS)
def test_which_unit_it_is(row: str) -> None:
    wanted, devices, radios, kind = ROWS[row]
    for order in itertools.permutations(devices):
        outcome = proved(wanted, *order, radios=radios)
        assert type(outcome) is kind, outcome
        assert outcome.words
        assert proven_address(outcome) in ("", A, ROTATING)


def test_a_swapped_unit_is_said_to_be_in_its_slot() -> None:
    outcome = proved(expected("S1"), Device(A, "S1", "2"), Device(B, "S2", "1"))
    assert isinstance(outcome, Elsewhere)
    assert outcome.slot == "2"


def test_the_unit_of_another_slot_is_not_asked_and_not_taken() -> None:
    outcome = proved(expected("S2"), Device(A, "S2"), radios=SHARED, claims=(Claim("2", A, "S1"),))
    assert isinstance(outcome, Absent)


@pytest.mark.parametrize("wanted", [expected("S1"), expected(address="A")])
def test_a_unit_that_is_under_test_elsewhere_is_there(wanted) -> None:
    outcome = proved(wanted, Device(A, "S1"), radios=SHARED, claims=(Claim("2", A, "S1"),))
    assert isinstance(outcome, Elsewhere)


def test_the_address_of_the_unit_in_another_slot_is_doubled_and_not_absent() -> None:
    outcome = proved(expected("S2"), Device(A, "S2", "1"), claims=(Claim("2", A, "S1"),))
    assert isinstance(outcome, NotProven)
    assert "same address" in outcome.why


def test_a_unit_that_was_not_taken_out_is_no_wrong_label() -> None:
    outcome = proved(expected("S2"), Device(A, "S1"), gone={A: "S1"})
    assert isinstance(outcome, NotProven)
    assert "still in the slot" in outcome.why


def test_a_tested_unit_in_another_slot_is_known_to_be_another_one() -> None:
    """An empty slot beside it is empty, and the unit is not tested twice."""
    stays = (Claim("2", B, "S2"),)
    beside = Device(B, "S2", "2")
    assert isinstance(proved(expected("S1"), beside, radios=SHARED, staying=stays), Absent)
    assert isinstance(proved(expected("S2"), beside, radios=SHARED, staying=stays), Elsewhere)
    assert isinstance(proved(expected("S1"), replace(beside, serial="S9"), radios=SHARED, staying=stays), NotProven)
    twin = proved(expected("S1"), replace(beside, serial="S1"), radios=SHARED, staying=stays)
    assert proven_address(twin) == B


def test_a_tested_unit_that_was_taken_out_meanwhile_is_another_one() -> None:
    beside = Device(B, None, "2")
    assert isinstance(proved(expected("S1"), beside, radios=SHARED, gone={B: "S2"}), Absent)
    assert isinstance(proved(expected("S1"), beside, radios=SHARED, gone={B: "S1"}), NotProven)


def test_few_reports_prove_no_place() -> None:
    assert isinstance(proved(expected("S1"), Device(A, "S1"), reports=2), NotProven)


def test_a_radio_that_did_not_listen_proves_no_place() -> None:
    from benchrig.line.deciding import decide
    from benchrig.line.scene import Scene

    heard = [replace(Device(A, "S1").candidate(OWN), levels={"a": -45.0})]
    outcome = decide(Scene(expected(address="A"), Place("1", OWN), heard, 10.0, frozenset({"a"})))
    assert isinstance(outcome, NotProven)
    assert "radio b does not listen" in outcome.why


def test_the_kind_of_proof() -> None:
    kinds = [Place("1", radios).kind for radios in (ALONE, OWN, SHARED, {"1": "a", "2": "b", "3": "b"})]
    assert kinds == ["only slot", "own radio", "scan", "own radio"]


# --- any scene

SERIALS = ["S1", "S2", "S3"]
devices = st.lists(
    st.builds(
        Device,
        st.sampled_from([A, B, C, ROTATING]),
        st.sampled_from([*SERIALS, "", None]),
        st.sampled_from(["1", "2", "3", ""]),
        st.sampled_from([-40.0, -45.0, -52.0, -70.0]),
    ).map(lambda each: replace(each, stays=each.address != ROTATING)),
    max_size=4,
    unique_by=lambda each: each.address,
)
radios = st.fixed_dictionaries({slot: st.sampled_from("abc") for slot in "123"})
wanted = st.builds(expected, st.sampled_from([*SERIALS, ""]), st.sampled_from(["A", "B", ""]))
scenes = st.tuples(wanted, devices, radios)


@given(scenes)
def test_a_proven_unit_does_not_contradict_its_barcode(scene) -> None:
    want, found, at = scene
    outcome = proved(want, *found, radios=at)
    if isinstance(outcome, Proven):
        unit = next(each for each in found if each.address == outcome.address)
        assert not (want.serial and unit.serial and unit.serial != want.serial)
        assert not (want.address and unit.stays and unit.address != want.address)
        assert unit.address == want.address or unit.serial


@given(scenes)
def test_what_is_in_another_slot_of_another_radio_is_never_run_on(scene) -> None:
    want, found, at = scene
    outcome = proved(want, *found, radios=at)
    if outcome.runs and not isinstance(outcome, Absent):
        unit = next(each for each in found if each.address == outcome.address)
        assert not unit.slot or at[unit.slot] == at["1"]


@given(scenes, st.lists(wanted, min_size=3, max_size=3))
def test_no_device_is_run_on_in_two_slots(scene, labels) -> None:
    _, found, at = scene
    claims: list[Claim] = []
    for slot, want in zip("123", labels, strict=True):
        outcome = proved(want, *found, radios=at, slot=slot, claims=tuple(claims))
        if outcome.runs and not isinstance(outcome, Absent):
            claims.append(Claim(slot, outcome.address, outcome.serial))
    addresses = [claim.address for claim in claims]
    assert len(addresses) == len({*addresses})


def renamed(outcome: Outcome, slots: dict[str, str]) -> tuple[str, ...]:
    slot = slots[outcome.slot] if isinstance(outcome, Elsewhere) else ""
    return type(outcome).__name__, proven_address(outcome), slot


@given(scenes, st.permutations("123"), st.permutations("abc"))
def test_other_names_of_slots_and_radios_change_nothing(scene, slots, names) -> None:
    want, found, at = scene
    slot_of, radio_of = dict(zip("123", slots, strict=True)), dict(zip("abc", names, strict=True))
    moved = [replace(each, slot=slot_of.get(each.slot, "")) for each in found]
    first = proved(want, *found, radios=at)
    other = proved(want, *moved, radios={slot_of[slot]: radio_of[name] for slot, name in at.items()}, slot=slot_of["1"])
    assert renamed(first, slot_of) == renamed(other, {slot: slot for slot in "123"})


@given(scenes, st.sampled_from([10.0, 25.0]))
def test_a_wider_margin_proves_no_other_unit(scene, wider) -> None:
    want, found, at = scene
    narrow, wide = (proven_address(proved(want, *found, radios=at, margin=margin)) for margin in (5.0, wider))
    assert wide in ("", narrow) or not narrow


@given(scenes)
def test_one_more_unit_of_another_slot_never_makes_it_another_one(scene) -> None:
    """What is proven without it is proven as well with it, or not at all."""
    want, found, _ = scene
    fresh = Device("C4:00:00:00:00:0D", "S9", "2")
    without, with_it = (proven_address(proved(want, *each, radios=OWN)) for each in (found, [*found, fresh]))
    assert with_it in ("", without)
