"""Which unit is in which slot, asked on the simulated air, kind and rough."""

from __future__ import annotations

import asyncio
import random

import pytest

from benchrig.line.proof import Absent, Elsewhere, Found, NotProven, Proven, Unconfirmed, WrongLabel
from tests.line.proving import Floor, labelled, on_floor, outcomes
from tests.line.units import Unit, several

OWN = {"1": "left", "2": "right"}
SHARED = ("1", "2")
ONE, TWO, THREE = Unit(1), Unit(2), Unit(3)
AIRS = ("", "rough")


@pytest.mark.parametrize("air", AIRS)
@pytest.mark.parametrize("slots", [OWN, SHARED])
def test_two_units_are_told_apart(tmp_path, slots, air) -> None:
    found = outcomes(tmp_path, {"1": ONE, "2": TWO}, {"2": TWO, "1": ONE}, slots, air=air)
    assert {slot: (type(each), each.address) for slot, each in found.items()} == {
        "1": (Proven, ONE.at),
        "2": (Proven, TWO.at),
    }


@pytest.mark.parametrize("air", AIRS)
def test_swapped_units_are_found_in_each_others_slots(tmp_path, air) -> None:
    found = outcomes(tmp_path, {"1": TWO, "2": ONE}, {"1": ONE, "2": TWO}, OWN, air=air)
    assert {slot: (type(each), each.slot) for slot, each in found.items()} == {
        "1": (Elsewhere, "2"),
        "2": (Elsewhere, "1"),
    }


def test_a_unit_with_another_label(tmp_path) -> None:
    found = outcomes(tmp_path, {"1": THREE, "2": TWO}, {"1": ONE}, OWN)["1"]
    assert isinstance(found, WrongLabel)
    assert (found.address, found.serial) == (THREE.at, THREE.serial)
    assert isinstance(outcomes(tmp_path, {"1": THREE}, {"1": ONE}, SHARED)["1"], NotProven)


@pytest.mark.parametrize("slots", [OWN, SHARED, ("1",)])
def test_an_empty_slot(tmp_path, slots) -> None:
    assert isinstance(outcomes(tmp_path, {}, {"1": ONE}, slots)["1"], Absent)


@pytest.mark.parametrize("slots", [OWN, ("1",)])
def test_a_unit_that_takes_no_connection_is_the_one_in_the_slot(tmp_path, slots) -> None:
    deaf = ONE.but(more="faults: {refuse_connections: 1000}\n")
    found = outcomes(tmp_path, {"1": deaf}, {"1": ONE}, slots)["1"]
    assert isinstance(found, Unconfirmed)
    assert (found.address, found.serial) == (ONE.at, "")
    assert found.failed >= 1


def test_a_unit_that_takes_no_connection_is_nobody_on_a_shared_radio(tmp_path) -> None:
    deaf = ONE.but(more="faults: {refuse_connections: 1000}\n")
    assert isinstance(outcomes(tmp_path, {"1": deaf}, {"1": ONE}, SHARED)["1"], NotProven)
    by_address = outcomes(tmp_path, {"1": deaf}, {"1": labelled(1, ONE.at)}, SHARED)["1"]
    assert isinstance(by_address, Proven)
    assert by_address.how == "address"


def test_a_unit_that_refused_the_first_connection_is_proven_and_that_is_kept(tmp_path) -> None:
    found = outcomes(tmp_path, {"1": ONE.but(more="faults: {refuse_connections: 1}\n")}, {"1": ONE}, SHARED)["1"]
    assert isinstance(found, Proven)
    assert found.failed == 1


def test_a_unit_without_a_serial_number(tmp_path) -> None:
    mute = ONE.but(tells_serial=False)
    assert isinstance(outcomes(tmp_path, {"1": mute}, {"1": ONE}, OWN)["1"], Unconfirmed)
    assert isinstance(outcomes(tmp_path, {"1": mute}, {"1": ONE}, SHARED)["1"], NotProven)


def test_two_units_in_one_slot(tmp_path) -> None:
    found = outcomes(tmp_path, {"1": several(ONE, TWO)}, {"1": ONE}, OWN)["1"]
    assert isinstance(found, NotProven)
    assert "several units" in found.why


def test_a_doubled_serial_number_at_once(tmp_path) -> None:
    twin = ONE.but(address=77)
    found = outcomes(tmp_path, {"1": ONE, "2": twin}, {"1": ONE}, SHARED)["1"]
    assert isinstance(found, NotProven)
    assert twin.at in found.why
    assert outcomes(tmp_path, {"1": ONE, "2": twin}, {"1": ONE}, OWN)["1"].address == ONE.at


def test_a_unit_that_is_put_in_late_is_waited_for(tmp_path) -> None:
    async def work(floor: Floor):
        await floor.put("1", TWO)
        proving = asyncio.ensure_future(floor.prove("1", ONE))
        await asyncio.sleep(3.2)
        await floor.put("1", ONE)
        return await proving

    assert on_floor(tmp_path, work, ("1",)).address == ONE.at


def test_two_slots_at_once(tmp_path) -> None:
    async def work(floor: Floor):
        await floor.put("1", ONE)
        await floor.put("2", TWO)
        return await asyncio.gather(floor.prove("1", ONE), floor.prove("2", TWO))

    assert [each.address for each in on_floor(tmp_path, work, SHARED)] == [ONE.at, TWO.at]


def test_a_slot_waits_for_the_link_of_another_one(tmp_path) -> None:
    """However long a run holds the only link: the wait counts for nothing, and what was heard before it is not believed."""

    async def work(floor: Floor):
        await floor.put("1", ONE)
        await floor.put("2", TWO)
        first = await floor.prove("1", ONE)
        async with floor.radios.link("1"):
            proving = asyncio.ensure_future(floor.prove("2", TWO))
            await asyncio.sleep(60)
            assert not proving.done()
        return first.address, (await proving).address

    assert on_floor(tmp_path, work, SHARED) == (ONE.at, TWO.at)


def test_what_was_read_before_is_asked_again(tmp_path) -> None:
    """A second unit of the same address is in the slot: what the first one told proves nothing."""

    async def work(floor: Floor):
        await floor.put("1", ONE)
        first = await floor.prove("1", ONE)
        floor.prover.release("1")
        await floor.put("1", TWO.but(address=1))
        return first, await floor.prove("1", ONE), await floor.prove("1", TWO)

    first, wrong, right = on_floor(tmp_path, work, ("1",))
    assert [type(each) for each in (first, wrong, right)] == [Proven, NotProven, Proven]


def test_a_unit_that_stays_in_the_slot_is_not_the_next_one(tmp_path) -> None:
    async def work(floor: Floor):
        await floor.put("1", ONE)
        await floor.prove("1", ONE)
        floor.prover.ended("1")
        return await floor.prove("1", TWO)

    found = on_floor(tmp_path, work, OWN)
    assert isinstance(found, NotProven)
    assert "still in the slot" in found.why


def test_an_address_that_changes_is_proven_by_the_serial_number(tmp_path) -> None:
    found = outcomes(tmp_path, {"1": rotating(1)}, {"1": labelled(1, ONE.at)}, SHARED)["1"]
    assert isinstance(found, Proven)
    assert found.private
    assert found.how == "serial number"


def rotating(number: int) -> Unit:
    return Unit(number, more="privacy: {every: 20 s}\n")


# --- any arrangement


def arranged(seed: int) -> tuple[dict[str, Unit], dict[str, Unit], dict[str, str]]:
    """Units in slots, labels that fit them or not, radios that are shared or not."""
    chance = random.Random(seed)
    slots = {slot: chance.choice(["a", "b", f"r{slot}"]) for slot in "1234"}
    units = [
        Unit(
            number,
            address=chance.choice([0, 0, 0, 0, 9]),
            rssi=chance.choice([-45, -55, -65]),
            spread=chance.choice([0.0, 2.0, 4.0]),
            tells_serial=chance.random() > 0.1,
            more=f"faults: {{refuse_connections: {chance.choice([1, 1000])}}}\n" if chance.random() < 0.15 else "",
        )
        for number in (1, 2, 3, 4)
    ]
    there = dict(zip("1234", chance.sample(units, 4), strict=True))
    labels = dict(there)
    if chance.random() < 0.5:
        one, two = chance.sample("1234", 2)
        labels[one], labels[two] = labels[two], labels[one]
    if chance.random() < 0.3:
        there.pop(chance.choice("1234"))
    return there, labels, slots


def wrongs(folder, seed: int) -> list[str]:
    """What was claimed of a slot, and is not so."""
    there, labels, slots = arranged(seed)
    folder = folder / str(seed)
    folder.mkdir()
    found = outcomes(folder, there, labels, slots, seed=seed, air=random.Random(seed).choice(AIRS))
    wrong = []
    for slot, outcome in found.items():
        if isinstance(outcome, Proven) and outcome.serial not in ("", labels[slot].serial):
            wrong.append(f"{seed}: {outcome} in slot {slot}")
        if isinstance(outcome, Found):
            real = {unit.at for at, unit in there.items() if slots[at] == slots[slot]}
            wrong += [] if outcome.address in real else [f"{seed}: {outcome} is not in slot {slot}"]
        if isinstance(outcome, Proven) and labels[slot] not in there.values():
            wrong.append(f"{seed}: {outcome} was not there")
    addresses = [each.address for each in found.values() if isinstance(each, Found)]
    return wrong + ([f"{seed}: {addresses}"] if len(addresses) != len({*addresses}) else [])


def test_no_unit_is_taken_for_another_one_in_short(tmp_path) -> None:
    assert [wrong for seed in range(1000, 1002) for wrong in wrongs(tmp_path, seed)] == []


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("piece", range(3))
def test_no_unit_is_taken_for_another_one(tmp_path, piece: int) -> None:
    assert [wrong for seed in range(piece, 300, 10) for wrong in wrongs(tmp_path, seed)] == []
