"""How a simulated device advertises: addresses that change, data that change, whom it directs to, whom it answers."""

import asyncio
import itertools

import pytest
from bumble import hci

from benchrig.radio.virtual.air import Air
from benchrig.values.address import kind_of_random, resolves
from tests.radio.virtual.bench import Bench, problems_of
from tests.radio.virtual.test_controller import CENTRAL, STRANGER, Controller

KEY = "ec0234a357c8ad05341010a60a397d9b"
HEAD = "device: tag\naddress: 'C0:11:22:33:44:55'\n"
AIRS = pytest.mark.parametrize("air", [None, "rough"])


async def addresses(text, seconds=100, air=None, every=0.5):
    """What is heard, as (time, address, manufacturer data), and the air."""
    async with Bench(text, air=air) as bench:
        heard = []
        async with bench.scanner(
            lambda device, said: heard.append((bench.now, device.address, said.manufacturer_data.get(0xFFFF)))
        ):
            await asyncio.sleep(seconds)
        return heard


def turns(heard):
    """Each address with the times of its first and last report, in the order of time."""
    found = []
    for address, group in itertools.groupby(heard, key=lambda one: one[1]):
        times = [at for at, *_ in group]
        found.append((address, times[0], times[-1]))
    return found


@AIRS
@pytest.mark.parametrize(
    ("keys", "kind"),
    [("address: resolvable", "resolvable private"), ("address: non resolvable", "non-resolvable private")],
)
async def test_an_address_rotates_after_its_time(air, keys, kind):
    """Core Vol 3 Part C 10.7, Vol 6 Part B 1.3.2.2."""
    found = turns(await addresses(HEAD + f"privacy: {{{keys}, every: 10 s, key: '{KEY}'}}", air=air))
    assert len(found) in (10, 11)
    assert len({address for address, *_ in found}) == len(found)
    assert {kind_of_random(address) for address, *_ in found} == {kind}
    starts = [start for _, start, _ in found]
    assert all(abs(b - a - 10) < 0.7 for a, b in itertools.pairwise(starts))
    assert all(resolves(bytes.fromhex(KEY), address) == (kind == "resolvable private") for address, *_ in found)


@pytest.mark.parametrize(
    ("fault", "count", "resolved", "identities"),
    [("never_rotates: true", 1, 1, 0), ("another_key: true", 5, 0, 0), ("identity_every: 3", 4, 4, 1)],
)
async def test_faults_of_privacy(fault, count, resolved, identities):
    found = {
        address for _, address, _ in await addresses(HEAD + f"privacy: {{every: 10 s, key: '{KEY}', {fault}}}", 49)
    }
    own = {address for address in found if address == "C0:11:22:33:44:55"}
    assert (len(found - own), len(own)) == (count, identities)
    assert sum(resolves(bytes.fromhex(KEY), address) for address in found) == resolved


async def test_the_time_goes_on_while_it_is_connected_and_a_start_takes_another_address():
    async with Bench(HEAD + "privacy: {every: 10 s}") as bench:
        first = await bench.find("tag")
        client = bench.client(first)
        await client.connect()
        await asyncio.sleep(4)
        await client.disconnect()
        assert (await bench.find("tag")).address == first.address
        client = bench.client(await bench.find("tag"))
        await client.connect()
        await asyncio.sleep(30)
        await client.disconnect()
        second = await bench.find("tag")
        assert second.address != first.address
        bench.device.reboot(1.0)
        third = await bench.find("tag")
        assert third.address not in (first.address, second.address)
        assert bench.device.advertising.addresses == {"C0:11:22:33:44:55", first.address, second.address, third.address}


async def test_each_device_has_a_key_of_its_own():
    text = "devices: [{device: one, privacy: {}}, {device: two, privacy: {}}, {device: three}]"
    async with Bench(text) as bench:
        keys = {bytes(device.device.irk) for device in bench.air.devices.values()}
        assert len(keys) == 3
        assert bytes(16) not in keys
        one = bench.air.devices["one"]
        heard = await bench.find("one")
        assert resolves(one.spec.identity_key, heard.address)
        assert one.device.irk == one.spec.identity_key[::-1], "bumble has the least significant octet first"


async def test_a_public_identity_is_heard_as_such():
    text = "device: tag\naddress: '00:00:5E:00:53:01'\naddress_type: public\nprivacy: {every: 10 s, identity_every: 2}"
    async with Bench(text) as bench:
        kinds = [(device.address, device.details.address_type) for device, _ in await bench.scan(25)]
    found = [one for one, _ in itertools.groupby(kinds)]
    assert [kind for _, kind in found] == ["random", "public", "random"]
    assert found[1][0] == "00:00:5E:00:53:01"


@pytest.mark.parametrize("anew", ["true", "false"])
async def test_data_that_change(anew):
    """`fresh` with the address, a counter with the time; across an address it goes on, or begins anew."""
    data = f"data: {{manufacturer: {{company: 0xFFFF, data: 'AA', fresh: 2, counter: {{every: 2 s, anew: {anew}}}}}}}"
    heard = await addresses(HEAD + f"privacy: {{every: 10 s}}\nadvertising: {{{data}}}", 35)
    by_address = {}
    for _, address, said in heard:
        assert (said[0], len(said)) == (0xAA, 5)
        by_address.setdefault(address, []).append((said[1:3], int.from_bytes(said[3:], "little")))
    counts = [[count for count, _ in itertools.groupby(number for _, number in said)] for said in by_address.values()]
    assert all(len({fresh for fresh, _ in said}) == 1 for said in by_address.values())
    assert len({said[0][0] for said in by_address.values()}) == len(by_address) == 4
    assert all(b - a == 1 for one in counts for a, b in itertools.pairwise(one))
    jumps = [after[0] - before[-1] for before, after in itertools.pairwise(counts)]
    assert (jumps == [1, 1, 1]) == (anew == "false")


# --- directed, and whom it answers: a bond is what the device's security says


async def bonded(bench, *peers):
    """The device has bonds with these, and has ended its link with the last one."""
    type(bench.device.security).peers = property(lambda self: list(peers))
    bench.air.air.band.stop(bench.device.advertiser)
    await bench.device.advertising.begin()


@pytest.fixture(autouse=True)
def _peers(monkeypatch):
    from benchrig.radio.virtual.security import DeviceSecurity

    monkeypatch.setattr(DeviceSecurity, "peers", DeviceSecurity.peers)


def ends(bench):
    """Two centrals."""
    air: Air = bench.air.air
    return [Controller(name, air, one) for name, one in (("central", CENTRAL), ("stranger", STRANGER))]


@AIRS
@pytest.mark.parametrize(
    ("directed", "kinds"),
    [
        ("{}", [(0, 4, {1}), (4, 8, {1})]),
        ("{duty: low, for: 3 s}", [(0, 2.9, {1}), (3.1, 6, {0, 4})]),
        ("{duty: high}", [(0, 1.2, {1}), (1.4, 6, {0, 4})]),
        ("{duty: high, then: nothing}", [(0, 1.2, {1}), (1.4, 6, set())]),
    ],
)
async def test_directed_to_the_last_bond_and_what_comes_then(air, directed, kinds):
    async with Bench(HEAD + f"advertising: {{directed: {directed}}}", air=air) as bench:
        central, stranger = ends(bench)
        await bonded(bench, STRANGER, CENTRAL)
        began = bench.now
        for one in (central, stranger):
            one.scan(window=160)
        await asyncio.sleep(6.5)
        for start, end, expected in kinds:
            during = [(at - began, kind) for at, kind, *_ in central.reports if start <= at - began < end]
            assert {kind for _, kind in during} == expected, (start, end)
        assert 1 not in {kind for _, kind, *_ in stranger.reports}


async def test_without_a_bond_it_advertises_to_all():
    async with Bench(
        HEAD + "advertising: {directed: {}, connections: bonded only, scan_requests: bonded only}"
    ) as bench:
        _, stranger = ends(bench)
        await bonded(bench)
        stranger.scan()
        await asyncio.sleep(1)
        assert {kind for _, kind, *_ in stranger.reports} == {0, 4}
        stranger.stop_scan()
        stranger.connect(hci.Address("C0:11:22:33:44:55"))
        await asyncio.sleep(1)
        assert len(bench.device.connections) == 1


@AIRS
@pytest.mark.parametrize("keys", [("connections",), ("scan_requests",), ("connections", "scan_requests"), ()])
async def test_who_is_answered(air, keys):
    said = "".join(f", {key}: bonded only" for key in keys)
    async with Bench(HEAD + f"advertising: {{interval: 50 ms{said}}}", air=air) as bench:
        central, stranger = ends(bench)
        await bonded(bench, CENTRAL)
        for one in (stranger, central):
            one.scan(window=160)
            await asyncio.sleep(2)
            one.stop_scan()
        assert 4 in {kind for _, kind, *_ in central.reports}
        assert (4 in {kind for _, kind, *_ in stranger.reports}) == ("scan_requests" not in keys)
        stranger.connect(hci.Address("C0:11:22:33:44:55"))
        await asyncio.sleep(1)
        assert len(bench.device.connections) == ("connections" not in keys)


async def test_it_directs_again_after_a_link_and_not_while_it_sleeps():
    async with Bench(HEAD + "advertising: {directed: {duty: high}}") as bench:
        central, _ = ends(bench)
        await bonded(bench, CENTRAL)
        bench.device.sleep(5.0)
        central.scan()
        await asyncio.sleep(4.9)
        assert not central.reports, "the end of high duty advertising must not wake it"
        await asyncio.sleep(1)
        assert {kind for _, kind, *_ in central.reports} == {1}
        central.stop_scan()
        central.connect(hci.Address("C0:11:22:33:44:55"))
        await asyncio.sleep(0.2)
        (connection,) = bench.device.connections
        await bench.device.disconnect(connection)
        central.told.clear()
        central.scan()
        await asyncio.sleep(1)
        assert {kind for _, kind, *_ in central.reports} == {1}


# --- what a device file may not say


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("privacy: {every: 500 ms}", "an address is for 1 s to 1 h, found 500 ms"),
        ("privacy: {every: 2 h}", "an address is for 1 s to 1 h, found 2 h"),
        ("privacy: {key: '00 01'}", "an identity resolving key has 16 bytes, found 2"),
        ("privacy: {identity_every: 1}", "a device that has privacy has another address before its identity"),
        ("privacy: {address: non resolvable, another_key: true}", "only a resolvable address is made with a key"),
        ("privacy: {adress: resolvable}", "unknown key 'adress'"),
        ("address: '40:11:22:33:44:55'\nprivacy: {}", "the identity of a device is a public or a static address"),
        ("advertising: {directed: {duty: high, for: 2 s}}", "high duty directed advertising ends after 1.28 s"),
        ("advertising: {directed: {for: 0 s}}", "it has to take some time"),
        ("advertising: {connectable: false, connections: bonded only}", "a device that takes no connections has no bonds"),
        ("others: [{advertising: {connectable: true, directed: {}}}]", "a device that only advertises has no bonds"),
        ("others: [{advertising: {data: {manufacturer: {company: 1, fresh: 2}}}}]", "the data of others do not change"),
        ("advertising: {data: {manufacturer: {company: 1, counter: {bytes: 9}}}}", "a counter has 1 to 8 bytes, found 9"),
        ("advertising: {data: {manufacturer: {company: 1, fresh: 40}}}", "at most 31 bytes fit, found 40"),
        ("advertising: {data: {manufacturer: {company: 1, fresh: 28}}}", "32 bytes of advertising data; at most 31 fit"),
    ],
)  # fmt: skip
def test_what_makes_no_sense(text, expected):
    found = problems_of("device: tag\n" + text)
    assert any(expected in problem for problem in found), found
