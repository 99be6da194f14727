"""How simulated devices pair: each capability, numbers shown and typed, what is refused, and the bonds that stay."""

import asyncio

import pytest

from benchrig.radio.security import OobData, Wish
from benchrig.radio.virtual.security import oob_context
from tests.radio.virtual.bench import OWN, Bench, models, problems_of
from tests.radio.virtual.central import COMPARES, LEGACY, SHOWS, TYPES, Person, encrypt, pair, read, unit, write

PASSKEY = ("passkey", True)
JUST_WORKS = ("just works", False)


async def outcome(security, wish=TYPES, *, more="", typed=None, **person):
    """What pairing with such a device comes to, and the device; `typed` is typed on its console after 1 s."""
    async with Bench(unit(security, more=more)) as bench:
        client = await bench.connect("unit")
        mine = Person(bench.device, **person)
        if typed:
            asyncio.get_running_loop().call_later(
                1, lambda: bench.device.spawn(bench.device.take_line(typed.format(number=f"{mine.seen:06}")))
            )
        return await pair(bench, client, wish, mine)


@pytest.mark.parametrize(
    ("security", "wish", "method"),
    [
        ("capability: display", TYPES, PASSKEY),
        ("capability: display", LEGACY, PASSKEY),
        ("capability: display, passkey: '000000'", TYPES, PASSKEY),
        ("capability: display, passkey: '999999'", LEGACY, PASSKEY),
        ("capability: display, answer_after: 5 s", Wish(), JUST_WORKS),
        ("capability: keyboard, passkey: '000000'", SHOWS, PASSKEY),
        ("capability: yes/no", COMPARES, ("numeric comparison", True)),
        ("capability: keyboard and display", COMPARES, ("numeric comparison", True)),
        ("capability: display, mitm: false", Wish("keyboard"), JUST_WORKS),
        ("", TYPES, JUST_WORKS),
    ],
)
async def test_the_method(security, wish, method):
    paired = await outcome(security, wish, shows=0)
    assert (paired.failure, (paired.method, paired.authenticated)) == ("none", method)


TYPED = "console: [{matches: 'type (?P<code>[0-9a-z]+)', enter: '{code}'}]\n"


@pytest.mark.parametrize(
    ("typed", "failure"),
    [("type {number}", "none"), ("type 1", "confirm value failed"), ("type 1234567", "passkey entry failed")],
)
@pytest.mark.parametrize("wish", [SHOWS, Wish("display", mitm=True, pairing="legacy")])
async def test_a_passkey_is_typed_on_the_device(wish, typed, failure):
    paired = await outcome("capability: keyboard", wish, more=TYPED, typed=typed)
    assert (paired.failure, paired.failed_by) == (failure, None if failure == "none" else "device")


async def test_a_passkey_is_typed_by_a_write():
    fixture = "properties: [write], on_write: {store: false, check: false, enter: '{written}'}"
    async with Bench(unit("capability: keyboard", attributes=[fixture])) as bench:
        client = await bench.connect("unit")
        person = Person(bench.device)
        pairing = asyncio.ensure_future(pair(bench, client, SHOWS, person))
        await asyncio.sleep(2)
        await client.write_gatt_char(OWN(2), f"{person.seen:06}".encode(), response=True)
        assert (await pairing).failure == "none"


@pytest.mark.parametrize(("answer", "failure"), [("accept", "none"), ("refuse", "numeric comparison failed")])
async def test_its_user_compares(answer, failure):
    paired = await outcome("capability: yes/no, compare: ask", COMPARES, more=TYPED, typed=f"type {answer}")
    assert (paired.failure, paired.failed_by) == (failure, None if failure == "none" else "device")


async def test_what_it_shows_comes_out():
    """As it is in a text, as a number where that is the format; the same seed shows the same."""
    more = "on_display: [{print: 'code {number}', set: {shown: '{number}', counted: '{number}'}, notify: {sent: '{number}'}}]\n"
    attributes = [f"name: {name}, properties: [{what}]" for name, what in NAMED.items()]
    text = unit("capability: display", more=more, attributes=attributes)
    text = text.replace("as: uint8, value: 7", "as: utf8, value: ''").replace(
        f"{OWN(3)}, as: utf8, value: ''", f"{OWN(3)}, as: uint32, value: 0"
    )
    shown = []
    for seed in (1, 1, 2):
        async with Bench(text, seed=seed) as bench:
            lines, heard = [], []
            bench.device.console_listeners.append(lines.append)
            client = await bench.connect("unit")
            await client.start_notify(OWN(4), lambda _, value, heard=heard: heard.append(value))
            await pair(bench, client)
            shown.append(bench.device.security.shown)
            assert lines == [f"code {shown[-1]}"]
            assert bytes(await client.read_gatt_char(OWN(2))) == bytes(heard[0]) == shown[-1].encode()
            assert int.from_bytes(await client.read_gatt_char(OWN(3)), "little") == int(shown[-1])
    assert shown[0] == shown[1] != shown[2]


async def test_zeros_before_a_number_are_no_part_of_it():
    more = "on_display: [{set: {counted: '{number}'}}]\n"
    text = unit("capability: display, passkey: '000042'", more=more, attributes=["name: counted, properties: [read]"])
    async with Bench(text) as bench:
        client = await bench.connect("unit")
        await pair(bench, client)
        assert await client.read_gatt_char(OWN(2)) == bytes([42])


NAMED = {"shown": "read", "counted": "read", "sent": "notify"}
RANDOM = bytes(range(16))


@pytest.mark.parametrize("key", ["random", "key"])
async def test_data_out_of_band(key):
    """Its confirm value is known from its name; with other data the pairing fails."""
    for data in (RANDOM, bytes(16)):
        known = OobData(random=data, confirm=oob_context("unit", RANDOM).share().c[::-1])
        wish = Wish(mitm=True, oob=known if key == "random" else OobData(key=data))
        paired = await outcome(f"out_of_band: {{{key}: '{RANDOM.hex()}'}}", wish)
        assert paired.failure == ("none" if data == RANDOM else "confirm value failed")
        assert data != RANDOM or (paired.method, paired.authenticated) == ("out of band", True)


@pytest.mark.parametrize(
    ("security", "wish", "failure"),
    [
        ("bondable: false", Wish(), "pairing not supported"),
        ("capability: display, accepts: authenticated", Wish(), "authentication requirements"),
        ("capability: display, accepts: authenticated", LEGACY, "none"),
        ("capability: display, accepts: secure connections", LEGACY, "authentication requirements"),
        ("capability: display, pairing: secure connections", LEGACY, "authentication requirements"),
        ("pairing: legacy", Wish(pairing="secure connections"), "authentication requirements"),
        ("least_key_size: 16", Wish(key_size=15), "encryption key size"),
        ("key_size: 7", Wish(least_key_size=8), "encryption key size"),
        ("capability: yes/no, compare: refuse", COMPARES, "numeric comparison failed"),
        ("capability: keyboard, passkey: '123456'", SHOWS, "confirm value failed"),
        ("capability: yes/no, compare: ask", COMPARES, "timeout"),
        ("capability: display, answer_after: 1 s", TYPES, "none"),
    ],
)
async def test_what_is_refused(security, wish, failure):
    assert (await outcome(security, wish, shows=1)).failure == failure


async def test_no_bond_is_replaced_by_a_weaker_one():
    for downgrade, failure in (("true", "none"), ("false", "authentication requirements")):
        async with Bench(unit(f"capability: display, downgrade: {downgrade}")) as bench:
            client = await bench.connect("unit")
            await pair(bench, client)
            assert (await pair(bench, client, Wish())).failure == failure


@pytest.mark.parametrize("at", [1, 3, 4, 30, 89])
async def test_a_link_that_is_lost_in_the_pairing(at):
    """At a PDU of the pairing; the next one passes."""
    async with Bench(unit("capability: display")) as bench:
        client = await bench.connect("unit")
        bench.air.faults.fate = killer(bench.air.faults, at)
        assert (await pair(bench, client)).failure == "link lost"
        bench.air.faults.fate = bench.air.faults.kill_at = None
        client = await bench.connect("unit")
        assert (await pair(bench, client)).failure == "none"
        assert (await read(client), await write(client)) == (0, 0)


def killer(faults, at):
    """Ends the link at the PDU behind the one of the pairing with this number."""
    count = iter(range(1, 1000))

    def fate(pdu):
        if pdu.data[2:4] == b"\x06\x00" and next(count) == at:
            faults.kill_at = pdu.number + 1

    return fate


async def test_who_has_failed_waits():
    """Each time twice as long; who pairs has a clean record."""
    async with Bench(unit("capability: display, wait_after_failure: 2 s")) as bench:
        client = await bench.connect("unit")
        wrong, failures = Person(bench.device, types=1), []
        for wait in (0, 0, 4.5, 7):
            await asyncio.sleep(wait)
            failures.append((await pair(bench, client, TYPES, wrong)).failure)
        assert failures == ["confirm value failed", "repeated attempts", "confirm value failed", "repeated attempts"]
        await asyncio.sleep(17)
        assert [(await pair(bench, client)).failure for _ in range(2)] == ["none", "none"]


@pytest.mark.parametrize("ends", ["link", "reboot", "power"])
@pytest.mark.parametrize("wish", [TYPES, LEGACY])
async def test_a_bond_stays(ends, wish):
    async with Bench(unit("capability: display")) as bench:
        client = await bench.connect("unit")
        await pair(bench, client, wish)
        await end(bench, client, ends)
        client = await bench.connect("unit")
        assert await read(client) == 0x0F
        again = await encrypt(client)
        assert (again.failure, again.authenticated, again.secure_connections) == ("none", True, wish == TYPES)
        assert (await read(client), await write(client)) == (0, 0)


async def end(bench, client, ends):
    if ends == "link":
        await client.disconnect()
    else:
        bench.device.reboot(1) if ends == "reboot" else bench.device.switch_off()
        await asyncio.sleep(30)
        bench.device.switch_on()


async def test_without_bonding_nothing_stays():
    for security, wish in (("bonding: false", Wish()), ("", Wish(bonding=False))):
        async with Bench(unit(security)) as bench:
            client = await bench.connect("unit")
            paired = await pair(bench, client, wish)
            assert (paired.failure, paired.bonded, bench.device.security.peers) == ("none", False, [])
            assert await read(client) == 0
            await client.disconnect()
            assert await read(await bench.connect("unit")) == 0x05


@pytest.mark.parametrize("way", ["write", "console"])
async def test_bonds_are_deleted(way):
    """The link stays as it is; the old key does not encrypt the next one, and a new pairing does."""
    more = "console: [{matches: forget, then: [{delete_bonds: true}]}]\n"
    attributes = ["properties: [read], read_needs: encrypted", "properties: [write], on_write: {delete_bonds: true}"]
    async with Bench(unit("", more=more, attributes=attributes)) as bench:
        client = await bench.connect("unit")
        await pair(bench, client)
        if way == "write":
            await write(client, 3)
        else:
            await bench.device.take_line("forget")
            await asyncio.sleep(0.1)
        assert await read(client) == 0
        await client.disconnect()
        client = await bench.connect("unit")
        assert (await encrypt(client)).failure == "no key"
        assert await read(client) == 0x05
        assert (await pair(bench, client)).failure == "none"
        assert await read(client) == 0


async def test_a_device_asks_for_security():
    async with Bench(unit("security_request: true")) as bench:
        client = await bench.connect("unit")
        await asyncio.sleep(1)
        assert client._backend.wants_security


async def test_each_device_has_an_identity_of_its_own():
    keys = set()
    for name in ("unit", "other"):
        async with Bench(unit("", name=name)) as bench:
            client = await bench.connect(name)
            paired = await pair(bench, client)
            assert paired.identity_address == "C0:11:22:33:44:55"
            keys |= {bytes(bond.keys.irk) for bond in bench.stack.bonds.all()}
    assert len(keys - {bytes(16)}) == 2


@pytest.mark.parametrize(
    ("security", "said"),
    [
        ("passkey: '123456'", "a device of capability 'none' has none"),
        ("capability: display, passkey: '12345'", "expected six digits in quotes, or random; found 5 characters"),
        ("capability: display, passkey: 123456", "expected six digits in quotes, or random; found no text"),
        ("capability: display, compare: ask", "a device of capability 'display' has none"),
        ("capability: none, accepts: authenticated", "a device without display, keyboard and data out of band"),
        ("capability: display, pairing: legacy, accepts: secure connections", "legacy pairing never comes to"),
        ("key_size: 17", "a key has 7 to 16 bytes, not 17"),
        ("key_size: 8, least_key_size: 9", "the device offers at most 8 bytes"),
        ("out_of_band: {}", "expected random (Secure Connections) or key (legacy)"),
        ("out_of_band: {random: '00'}", "expected 16 bytes, found 1"),
        (f"pairing: legacy, out_of_band: {{random: '{RANDOM.hex()}'}}", "these data are not for legacy pairing"),
        ("faults: {confirms_unasked: true}", "only a device that asks its user can do without"),
        ("pairing: secure connections, faults: {same_key: true}", "keys of Secure Connections are never the same"),
        ("pairing: legacy, faults: {debug_key: true}", "legacy pairing has no debug key"),
        ("bonding: false, faults: {keeps_bonds: true}", "a device without bonds has no fault with them"),
        ("faults: {refuses: repeated attempts, silent_at: public key}", "'refuses' and 'silent_at' exclude each other"),
        ("bondable: false, security_request: true", "a device that refuses to pair asks for no security"),
        ("faults: {refuses: repeated}", "expected a reason of Pairing Failed"),
    ],
)
def test_what_makes_no_sense(security, said):
    found = problems_of(unit(security))
    assert len(found) == 1
    assert said in found[0]


def test_no_repr_shows_a_secret():
    oob = f"out_of_band: {{random: '{RANDOM.hex()}'}}"
    (spec,) = models(unit(f"capability: display, passkey: '042517', {oob}"))
    assert "042517" not in repr(spec)
    assert RANDOM.hex() not in repr(spec)
    assert repr(RANDOM) not in repr(spec)


def test_a_device_without_a_display_shows_nothing_and_one_without_keys_asks_nothing():
    assert "shows nothing" in problems_of(unit("", more="on_display: [{print: x}]\n"))[0]
    found = problems_of(
        unit("capability: display", more=TYPED, attributes=["properties: [write], on_write: {enter: x}"])
    )
    assert [one.split(maxsplit=1)[1] for one in found] == ["this device never asks its user for anything"] * 2
