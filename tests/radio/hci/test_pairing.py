"""Pairing over a controller behind a TCP port: as on the virtual radio."""

import pytest

from benchrig.radio.security import ANOTHER_KEY, NO_KEY, NONE, Level, Wish
from tests.radio.bumble_stack.method_table import CAPABILITIES
from tests.radio.bumble_stack.pairing import Person, device, paired_air_on_tcp
from tests.radio.bumble_stack.test_methods import PAIRINGS, check_methods, lock, slug


@pytest.mark.slow
@pytest.mark.parametrize("pairing", PAIRINGS)
@pytest.mark.parametrize("capability", CAPABILITIES, ids=slug)
async def test_the_method_is_that_of_the_specification(capability, pairing, tmp_path):
    async with paired_air_on_tcp(tmp_path, *(lock(each, True) for each in CAPABILITIES)) as bench:
        await check_methods(bench, capability, pairing, mitm=False, unit_mitm=True)


@pytest.mark.slow
@pytest.mark.parametrize("air", [None, "rough"], ids=str)
async def test_a_bond_encrypts_later_until_the_unit_has_lost_its_key(air, tmp_path):
    text = device("{capability: display, passkey: '000000'}")
    async with paired_air_on_tcp(tmp_path, text, air=air) as bench:
        link = await bench.connect()
        paired = await link.security.pair(Wish("keyboard", mitm=True), Person(entered=0))
        assert (paired.failure, paired.bonded) == (NONE, True)
        assert await bench.read(link) == b"\x07"
        link = await bench.connect_anew(link)
        assert link.security.level is Level.NO_SECURITY
        assert (await link.security.encrypt()).failure == NONE
        assert link.security.level is Level.SECURE_CONNECTIONS
        bench.device().security.delete_bonds()
        link = await bench.connect_anew(link)
        assert (await link.security.encrypt()).failure == NO_KEY
        assert (await link.security.pair(Wish(pairing="legacy"), Person())).failure == NONE
        bench.change_key()
        link = await bench.connect_anew(link)
        assert (await link.security.encrypt()).failure == ANOTHER_KEY
        assert not link.is_up
