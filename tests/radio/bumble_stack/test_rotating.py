"""A unit that changes its address is the unit after a bond, and only until that is forgotten; another one never is."""

import asyncio

import pytest

from benchrig.errors import DeviceNotFound, WrongDevice
from benchrig.radio.identity import is_private
from benchrig.radio.scan import Selection
from benchrig.radio.security import NONE, Wish
from benchrig.radio.unit import Unit
from tests.radio.bumble_stack.pairing import Person, device, paired_air

PRIVACY = "privacy: {address: resolvable, every: 20 s}"


def twins(air=None, more=PRIVACY):
    """Two units of one name, which change their addresses together."""
    first = device("{}", "lock", more)
    return paired_air(first, first.replace("C1:22:33", "C1:22:44").replace("device: lock", "device: twin"), air=air)


async def bond(bench):
    """A bond with the first one, which is alone for that."""
    other = bench.device("twin")
    other.sleep(10)
    link = await bench.connect()
    paired = await link.security.pair(Wish(), Person())
    assert (paired.failure, paired.identity_address) == (NONE, bench.device().spec.address)
    await link.disconnect()
    await asyncio.sleep(12)
    return bench.unit


async def rotated(bench):
    before = {name: str(unit.advertiser.address) for name, unit in bench.air.devices.items()}
    await asyncio.sleep(25)
    after = {name: str(unit.advertiser.address) for name, unit in bench.air.devices.items()}
    assert not set(before.values()) & set(after.values())
    return after


@pytest.mark.parametrize("air", [None, "rough"], ids=str)
async def test_a_bonded_unit_is_known_by_any_of_its_addresses(air):
    async with twins(air) as bench:
        unit = await bond(bench)
        for _ in range(2):
            now = await rotated(bench)
            sighting = await unit.find(2.0, 10.0)
            assert (sighting.address, sighting.identity) == (now["lock"][:17], unit.identity.bonded_as)
            assert is_private(sighting)
            link = await unit.connect(10.0)
            assert (await link.security.encrypt()).failure == NONE
            assert await bench.read(link) == b"\x07"
            await link.disconnect()
            await asyncio.sleep(1)
        assert unit.absence.first_at is None
        assert (await unit.present(3.0)).sighting.identity == unit.identity.bonded_as
        assert unit.absence.first_at is not None


async def test_another_unit_is_not_taken_for_the_one_that_is_bonded():
    async with twins() as bench:
        unit = await bond(bench)
        await rotated(bench)
        bench.device().switch_off()
        found = await unit.present(3.0)
        assert (found.sighting, found.doubt) == (None, "")
        with pytest.raises(WrongDevice, match="matches the selection now has no address that fits"):
            await unit.find(0.0, 3.0, to_connect=True)


async def test_a_unit_is_selected_by_its_identity_address_once_it_is_bonded():
    async with twins() as bench:
        by_address = Selection(address=bench.device().spec.address)
        with pytest.raises(DeviceNotFound):
            await Unit(bench.radio, by_address).find(0.0, 3.0)
        await bond(bench)
        await rotated(bench)
        unit = Unit(bench.radio, by_address)
        # it changes its address while it is listened for: both are the unit's
        sighting = await unit.find(25.0, 30.0)
        assert sighting.address == str(bench.device().advertiser.address)[:17]
        assert (await (await unit.connect(10.0)).security.encrypt()).failure == NONE


async def test_a_bond_that_is_forgotten_proves_nothing_any_more():
    async with twins() as bench:
        unit = await bond(bench)
        link = await unit.connect(10.0)
        await link.security.forget()
        await link.disconnect()
        assert unit.identity.bonded_as == ""
        await rotated(bench)
        bench.device("twin").switch_off()
        assert "may be the unit under another address" in (await unit.present(3.0)).doubt


async def test_a_unit_with_an_address_for_life_is_connected_to_after_a_bond():
    async with twins(more="") as bench:
        unit = await bond(bench)
        link = await unit.connect(10.0)
        assert (await link.security.encrypt()).failure == NONE


@pytest.mark.parametrize("wish", [Wish("keyboard"), Wish("keyboard", pairing="legacy")], ids=lambda wish: wish.pairing)
async def test_every_pairing_on_a_link_is_made_with_the_addresses_of_the_link(wish):
    """On one that a resolved address has made as well."""
    private = device("{capability: display, passkey: '001234'}", "lock", PRIVACY)
    async with paired_air(private) as bench:
        link = await bench.connect()
        person = Person(entered=1234)
        for again in range(2):
            ends = [(await link.security.pair(wish, person)).failure for _ in range(3)]
            assert ends == [NONE] * 3, again
            await link.disconnect()
            link = await bench.unit.connect(30.0)
