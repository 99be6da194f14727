"""The method that a pairing comes to is the one of the specification, whoever has which capability."""

import pytest

from benchrig.radio.security import Wish
from tests.radio.bumble_stack.method_table import ASKED, CAPABILITIES, METHODS, cell
from tests.radio.bumble_stack.pairing import NUMBER, Person, device, paired_air

PAIRINGS = ("legacy", "secure connections")


def slug(capability):
    return capability.replace("/", " or ").replace(" ", "-")


def lock(capability, mitm):
    """A unit of this capability, with the passkey that everybody has here."""
    fixed = "" if capability == "none" else f", passkey: '{NUMBER:06}'"
    return device(f"{{capability: {capability}, mitm: {str(mitm).lower()}{fixed}}}", slug(capability))


async def check_methods(bench, capability, pairing, *, mitm, unit_mitm):
    """Pair as this capability with a unit of each one."""
    secure_connections = pairing == "secure connections"
    for other in CAPABILITIES:
        person = Person()
        link = await bench.connect(slug(other))
        paired = await link.security.pair(Wish(capability, mitm, pairing), person)
        word = cell(capability, other, secure_connections=secure_connections, mitm=mitm or unit_mitm)
        found = paired.failure, paired.method, [each.split()[0] for each in person.asked]
        assert found == ("none", METHODS[word], [ASKED[word]] if ASKED[word] else []), (capability, other)
        assert paired.secure_connections is secure_connections
        assert paired.authenticated is (word != "JW")
        connections = bench.device(slug(other)).connections
        protection = bench.device(slug(other)).security.protection(connections[0])
        assert (protection.authenticated, protection.secure_connections) == (word != "JW", secure_connections)
        assert link.security.level == protection.level
        await link.disconnect()


@pytest.mark.parametrize("pairing", PAIRINGS)
@pytest.mark.parametrize("capability", CAPABILITIES, ids=slug)
async def test_the_method_is_that_of_the_specification(capability, pairing):
    async with paired_air(*(lock(each, False) for each in CAPABILITIES)) as bench:
        await check_methods(bench, capability, pairing, mitm=True, unit_mitm=False)


@pytest.mark.slow
@pytest.mark.parametrize("air", [None, pytest.param("rough", marks=pytest.mark.slow)], ids=str)
@pytest.mark.parametrize(("mitm", "unit_mitm"), [(False, False), (False, True), (True, True)])
@pytest.mark.parametrize("pairing", PAIRINGS)
@pytest.mark.parametrize("capability", CAPABILITIES, ids=slug)
async def test_the_method_whoever_asks_for_protection(capability, pairing, mitm, unit_mitm, air):
    async with paired_air(*(lock(each, unit_mitm) for each in CAPABILITIES), air=air) as bench:
        await check_methods(bench, capability, pairing, mitm=mitm, unit_mitm=unit_mitm)
