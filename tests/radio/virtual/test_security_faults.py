"""Faults of security: an honest central sees each, and a sound device has none of them."""

import asyncio

import pytest

from benchrig.radio.security import Wish
from tests.radio.virtual.bench import OWN, Bench
from tests.radio.virtual.central import COMPARES, LEGACY, TYPES, Person, encrypt, pair, read, unit, write

FORGET = "properties: [write], on_write: {delete_bonds: true}"
PROTECTED = "properties: [read], read_needs: encrypted"


def device(fault, capability="display", **more):
    return unit(f"capability: {capability}, faults: {{{fault}}}", **more)


@pytest.mark.parametrize(("wish", "air"), [(TYPES, "kind"), (LEGACY, "kind"), (TYPES, "rough")])
@pytest.mark.parametrize(("fault", "by"), [("", "device"), ("unchecked: true", "bench")])
async def test_one_that_does_not_check(fault, by, wish, air):
    """A wrong passkey ends the pairing all the same: the central has looked."""
    async with Bench(device(fault), air=air) as bench:
        client = await bench.connect("unit")
        person = Person(bench.device, types=1)
        paired = await pair(bench, client, wish, person)
        assert (paired.failure, paired.failed_by) == ("confirm value failed", by)


@pytest.mark.parametrize(("fault", "failure"), [("", "timeout"), (", faults: {confirms_unasked: true}", "none")])
async def test_one_that_does_not_wait_for_its_user(fault, failure):
    async with Bench(unit(f"capability: yes/no, compare: ask{fault}")) as bench:
        client = await bench.connect("unit")
        assert (await pair(bench, client, COMPARES)).failure == failure


@pytest.mark.parametrize(
    ("fault", "after", "failure"),
    [
        ("", "restart", "none"),
        ("forgets_bonds: disconnection", "disconnection", "no key"),
        ("forgets_bonds: restart", "disconnection", "none"),
        ("forgets_bonds: restart", "restart", "no key"),
    ],
)
async def test_one_that_forgets(fault, after, failure):
    async with Bench(device(fault)) as bench:
        client = await bench.connect("unit")
        await pair(bench, client)
        if after == "restart":
            bench.device.reboot(1)
            await asyncio.sleep(30)
        else:
            await client.disconnect()
        assert (await encrypt(await bench.connect("unit"))).failure == failure


@pytest.mark.parametrize(("fault", "failure"), [("", "no key"), ("keeps_bonds: true", "none")])
async def test_one_that_keeps_its_bonds(fault, failure):
    async with Bench(device(fault, attributes=[FORGET])) as bench:
        client = await bench.connect("unit")
        await pair(bench, client)
        await write(client)
        await client.disconnect()
        assert (await encrypt(await bench.connect("unit"))).failure == failure


@pytest.mark.parametrize(("fault", "keys"), [("", 2), ("same_key: true", 1)])
async def test_one_with_the_same_key_for_everybody(fault, keys):
    async with Bench(device(fault)) as bench:
        client = await bench.connect("unit")
        found = set()
        for _ in range(2):
            assert (await pair(bench, client, LEGACY)).failure == "none"
            found |= {bytes(bond.keys.ltk_peripheral.key) for bond in bench.stack.bonds.all()}
        assert len(found) == keys


@pytest.mark.parametrize(
    ("fault", "failure", "within"),
    [
        ("refuses: repeated attempts", "repeated attempts", 1),
        *(
            (f"silent_at: {pdu}", "timeout", 31)
            for pdu in ("pairing request", "public key", "pairing random", "dhkey check")
        ),
        *((f"disconnects_at: {pdu}", "link lost", 3) for pdu in ("pairing request", "public key", "dhkey check")),
    ],
)
async def test_one_that_does_not_go_on(fault, failure, within):
    async with Bench(device(fault)) as bench:
        client = await bench.connect("unit")
        start = bench.now
        assert (await pair(bench, client, Wish())).failure == failure
        assert bench.now - start < within + 1
        assert bench.device.security.peers == []


async def test_one_that_ends_the_link_when_the_central_is_done():
    """The central has a bond then, and the device has none."""
    async with Bench(device("disconnects_at: identity information")) as bench:
        assert (await pair(bench, await bench.connect("unit"))).failure == "none"
        await asyncio.sleep(1)
        assert (await encrypt(await bench.connect("unit"))).failure == "no key"


@pytest.mark.parametrize(("fault", "code"), [("", 0x0F), ("trusts_address: true", 0)])
async def test_one_that_trusts_an_address(fault, code):
    async with Bench(device(fault, attributes=[PROTECTED])) as bench:
        client = await bench.connect("unit")
        assert await read(client) == 0x05
        await pair(bench, client)
        await client.disconnect()
        assert await read(await bench.connect("unit")) == code


@pytest.mark.parametrize(("fault", "sends"), [("", False), ("notifies_unencrypted: true", True)])
async def test_one_that_sends_before_the_link_is_encrypted(fault, sends):
    attributes = ["properties: [notify], subscribe_needs: encrypted, notify: {period: 100 ms}"]
    async with Bench(device(fault, attributes=attributes)) as bench:
        client = await bench.connect("unit")
        await pair(bench, client)
        await client.start_notify(OWN(2), lambda *_: None)
        await client.disconnect()
        client = await bench.connect("unit")
        await asyncio.sleep(1)
        assert bool(client._backend.unasked) == sends


@pytest.mark.parametrize(("fault", "failure"), [("", "none"), ("debug_key: true", "debug key")])
async def test_one_with_the_debug_key(fault, failure):
    async with Bench(device(fault)) as bench:
        client = await bench.connect("unit")
        for wish in (Wish(), TYPES):
            assert (await pair(bench, client, wish)).failure == failure
        assert bool(bench.device.security.peers) == (failure == "none")
