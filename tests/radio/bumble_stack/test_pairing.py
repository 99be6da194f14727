"""How a pairing ends, whose word that was, and that the link serves afterwards."""

import asyncio

import pytest

from benchrig.errors import InternalError, OperatorError, StationError
from benchrig.radio.bonds import MemoryBonds
from benchrig.radio.bumble_stack.bumble_api import smp
from benchrig.radio.bumble_stack.smp import Session
from benchrig.radio.security import (
    ANOTHER_KEY,
    ENCRYPTION,
    INVALID_KEY,
    LINK_LOST,
    NO_KEY,
    NONE,
    REASONS,
    TIMEOUT,
    Encrypted,
    Level,
    OobData,
    Wish,
)
from benchrig.radio.virtual.security import oob_context
from tests.radio.bumble_stack.pairing import NUMBER, Person, device, paired_air

SHOWS = f"capability: display, passkey: '{NUMBER:06}'"
TYPES = f"capability: keyboard, passkey: '{NUMBER:06}'"
KEYBOARD = Wish("keyboard", mitm=True)
DISPLAY = Wish("display", mitm=True)
BOTH = pytest.mark.parametrize("pairing", ["legacy", "secure connections"])


async def check_serves(bench, link, wish=KEYBOARD):
    """A pairing on the same link works, and what is protected is read."""
    assert link.is_up
    paired = await link.security.pair(wish, Person())
    assert paired.failure == NONE, paired
    assert await bench.read(link) == b"\x07"


def ended(paired):
    return paired.failure, paired.failed_by


@pytest.mark.parametrize("reason", [0x01, 0x05, 0x09, 0x0F])
async def test_a_unit_refuses(reason):
    async with paired_air(device(f"{{{SHOWS}, faults: {{refuses: {REASONS[reason]}}}}}")) as bench:
        link = await bench.connect()
        assert ended(await link.security.pair(KEYBOARD, Person())) == (REASONS[reason], "device")
        assert (link.security.level, link.security.is_bonded) == (Level.NO_SECURITY, False)
        assert ended(await link.security.pair(KEYBOARD, Person())) == (REASONS[reason], "device")
        assert bench.bonds.all() == []


@BOTH
async def test_a_wrong_passkey_at_either_end_and_then_the_right_one(pairing):
    wish = Wish("keyboard", True, pairing), Wish("display", True, pairing)
    async with paired_air(device(f"{{{SHOWS}}}"), device(f"{{{TYPES}}}", "typing")) as bench:
        link = await bench.connect()
        assert ended(await link.security.pair(wish[0], Person(entered=1))) == ("confirm value failed", "device")
        await check_serves(bench, link, wish[0])
        await link.disconnect()
        link = await bench.connect("typing")
        assert ended(await link.security.pair(wish[1], Person(number=1))) == ("confirm value failed", "device")
        await check_serves(bench, link, wish[1])


@BOTH
async def test_a_unit_that_does_not_check_is_found_out_by_the_bench(pairing):
    async with paired_air(device(f"{{{SHOWS}, faults: {{unchecked: true}}}}")) as bench:
        link = await bench.connect()
        paired = await link.security.pair(Wish("keyboard", True, pairing), Person(entered=1))
        assert ended(paired) == ("confirm value failed", "bench")
        await check_serves(bench, link)


@BOTH
@pytest.mark.parametrize("passkey", [0, 999_999])
async def test_the_first_and_the_last_passkey(passkey, pairing):
    fixed = f"passkey: '{passkey:06}'"
    types, shows = device(f"{{capability: keyboard, {fixed}}}", "typing"), device(f"{{capability: display, {fixed}}}")
    async with paired_air(shows, types) as bench:
        link = await bench.connect()
        person = Person(entered=passkey, number=passkey)
        paired = await link.security.pair(Wish("keyboard", True, pairing), person)
        assert (paired.failure, paired.authenticated) == (NONE, True)
        await link.disconnect()
        link = await bench.connect("typing")
        paired = await link.security.pair(Wish("display", True, pairing), person)
        assert (paired.failure, paired.authenticated) == (NONE, True)
        assert person.asked == ["enter", f"show {passkey:06}"]


async def test_what_the_bench_refuses():
    async with paired_air(device(f"{{{SHOWS}, key_size: 7}}"), device("{capability: yes/no}", "comparing")) as bench:
        link = await bench.connect()
        pair = link.security.pair
        assert ended(await pair(KEYBOARD, Person(entered=None))) == ("passkey entry failed", "bench")
        assert ended(await pair(Wish(least_key_size=8), Person())) == ("encryption key size", "bench")
        await link.disconnect()
        link = await bench.connect("comparing")
        wish = Wish("yes/no", mitm=True)
        assert ended(await link.security.pair(wish, Person(same=False))) == ("numeric comparison failed", "bench")
        person = Person()
        assert (await link.security.pair(wish, person)).method == "numeric comparison"
        assert person.asked == [f"compare {bench.device('comparing').security.shown}"]


async def test_what_the_unit_refuses_by_what_it_is():
    units = {
        "only legacy": ("{pairing: legacy}", Wish(pairing="secure connections"), "authentication requirements", "bench"),
        "only secure": ("{pairing: secure connections}", Wish(pairing="legacy"), "authentication requirements", "device"),
        "long keys": ("{least_key_size: 16}", Wish(key_size=15), "encryption key size", "device"),
        "never": ("{bondable: false}", Wish(), "pairing not supported", "device"),
        "compares": ("{capability: yes/no, compare: refuse}", Wish("yes/no", True), "numeric comparison failed", "device"),
    }  # fmt: skip
    async with paired_air(*(device(unit[0], name) for name, unit in units.items())) as bench:
        for name, (_, wish, failure, by) in units.items():
            link = await bench.connect(name)
            assert ended(await link.security.pair(wish, Person())) == (failure, by), name
            await link.disconnect()


@BOTH
@pytest.mark.parametrize("size", [7, 12, 16])
async def test_the_key_is_as_long_as_both_can(size, pairing):
    async with paired_air(device(f"{{key_size: {size}}}")) as bench:
        link = await bench.connect()
        paired = await link.security.pair(Wish(pairing=pairing), Person())
        assert (paired.key_size, paired.authenticated, paired.method) == (size, False, "just works")
        (bond,), (units,) = bench.bonds.all(), bench.device().security.bonds.all()
        key = (bond.keys.ltk or bond.keys.ltk_peripheral).key
        assert key == (units.keys.ltk or units.keys.ltk_peripheral).key
        assert (bytes(key[size:]), bond.key_size) == (bytes(16 - size), size)
        assert any(key[:size])
        link = await bench.connect_anew(link)
        assert await link.security.encrypt() == Encrypted(NONE, False, pairing != "legacy", size)


async def test_a_pairing_without_bonding_leaves_nothing():
    async with paired_air(device("{bonding: false}"), device("{}", "bonds")) as bench:
        for name, wish in (("lock", Wish()), ("bonds", Wish(bonding=False))):
            link = await bench.connect(name)
            paired = await link.security.pair(wish, Person())
            assert (paired.failure, paired.bonded, paired.identity_address) == (NONE, False, "")
            assert (link.security.level, link.security.is_bonded) == (Level.ENCRYPTED, False)
            assert await bench.read(link) == b"\x07"
            await link.disconnect()
            assert bench.bonds.all() == bench.device(name).security.bonds.all() == []


async def test_out_of_band():
    random, key = bytes(range(16)), bytes(range(50, 66))
    secure = device(f"{{out_of_band: {{random: {random.hex()}}}}}")
    legacy = device(f"{{pairing: legacy, out_of_band: {{key: {key.hex()}}}}}", "legacy")
    async with paired_air(secure, legacy) as bench:
        link = await bench.connect()
        confirm = oob_context("lock", random).share().c[::-1]  # which `benchrig devices` shows
        paired = await link.security.pair(Wish(oob=OobData(random=random, confirm=confirm)), Person())
        assert (paired.failure, paired.method, paired.authenticated) == (NONE, "out of band", True)
        assert link.security.level is Level.SECURE_CONNECTIONS
        other = OobData(random=random[::-1], confirm=confirm)
        assert ended(await link.security.pair(Wish(oob=other), Person())) == ("confirm value failed", "bench")
        await link.disconnect()
        link = await bench.connect("legacy")
        assert ended(await link.security.pair(Wish(oob=OobData(key=random)), Person())) == (
            "confirm value failed", "device",
        )  # fmt: skip
        paired = await link.security.pair(Wish(oob=OobData(key=key)), Person())
        assert (paired.failure, paired.method, paired.secure_connections) == (NONE, "out of band", False)


SILENT = ["pairing request", "public key", "pairing random", "dhkey check", "identity information"]


@pytest.mark.parametrize("pdu", SILENT)
async def test_a_unit_that_falls_silent(pdu):
    async with paired_air(device(f"{{faults: {{silent_at: {pdu}}}}}")) as bench:
        link = await bench.connect()
        started = asyncio.get_running_loop().time()
        paired = await link.security.pair(Wish(), Person())
        if pdu == "identity information":  # the bench has said all, and cannot know
            assert paired.failure == NONE
            return
        assert ended(paired) == (TIMEOUT, "device")
        assert 30.0 <= asyncio.get_running_loop().time() - started < 31.0
        async with asyncio.timeout(5):
            await link.lost.wait()  # nothing more can be paired on it
        assert bench.bonds.all() == []


@BOTH
@pytest.mark.parametrize(("key", "stays"), [(None, True), (bytes(range(16)), False)], ids=["no key", "another key"])
async def test_a_unit_that_has_not_the_key_that_was_agreed_on(key, stays, pairing):
    async def provide(*_):
        return key

    async with paired_air(device("{}")) as bench:
        link = await bench.connect()
        unit = bench.device()
        provider, unit.device.host.long_term_key_provider = unit.device.host.long_term_key_provider, provide
        assert ended(await link.security.pair(Wish(pairing=pairing), Person())) == (ENCRYPTION, "device")
        assert (link.is_up, bench.bonds.all()) == (stays, [])
        unit.device.host.long_term_key_provider = provider
        await check_serves(bench, link if stays else await bench.connect(), Wish())


async def test_an_answer_at_the_bench_that_comes_too_late():
    async with paired_air(device(f"{{{SHOWS}}}")) as bench:
        link = await bench.connect()
        assert ended(await link.security.pair(KEYBOARD, Person(after=31))) == (TIMEOUT, "bench")
        await check_serves(bench, await bench.connect_anew(link))


async def test_nobody_at_the_bench():
    away = OperatorError("nobody answers")
    async with paired_air(device(f"{{{SHOWS}}}"), device("{capability: yes/no}", "comparing")) as bench:
        link = await bench.connect()
        with pytest.raises(OperatorError, match="nobody answers"):
            await link.security.pair(KEYBOARD, Person(entered=away))
        await check_serves(bench, link)
        await link.disconnect()
        link = await bench.connect("comparing")
        with pytest.raises(OperatorError, match="nobody answers"):
            await link.security.pair(Wish("yes/no", True), Person(same=away))
        await check_serves(bench, link, Wish())


async def test_a_call_that_is_cancelled_leaves_no_pairing_behind():
    async with paired_air(device(f"{{{SHOWS}}}")) as bench:
        link = await bench.connect()
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(1):
                await link.security.pair(KEYBOARD, Person(after=5))
        await asyncio.sleep(10)
        assert (link.security.level, bench.bonds.all()) == (Level.NO_SECURITY, [])
        await check_serves(bench, link)


async def test_two_pairings_on_one_link_take_turns():
    async with paired_air(device(f"{{{SHOWS}}}")) as bench:
        link = await bench.connect()
        first, second = await asyncio.gather(
            link.security.pair(KEYBOARD, Person(after=2)),
            link.security.pair(Wish("keyboard", True, "legacy"), Person()),
        )
        assert (first.secure_connections, second.secure_connections) == (True, False)
        assert first.failure == second.failure == NONE
        assert link.security.level is Level.AUTHENTICATED


async def test_the_bench_disconnects_while_somebody_is_asked():
    async with paired_air(device(f"{{{SHOWS}}}")) as bench:
        link = await bench.connect()
        pairing = asyncio.ensure_future(link.security.pair(KEYBOARD, Person(after=5)))
        await asyncio.sleep(1)
        await link.disconnect()
        assert (await pairing).failure == LINK_LOST
        await check_serves(bench, await bench.connect())


async def test_keys_that_do_not_fit_any_more():
    async with paired_air(device(f"{{{SHOWS}}}")) as bench:
        link = await bench.connect()
        await check_serves(bench, link)
        bench.device().security.delete_bonds()
        link = await bench.connect_anew(link)
        assert link.security.is_bonded
        assert await link.security.encrypt() == Encrypted(NO_KEY)
        await check_serves(bench, link)
        bench.change_key()
        link = await bench.connect_anew(link)
        assert await link.security.encrypt() == Encrypted(ANOTHER_KEY)
        assert not link.is_up
        await link.forget_bond()
        assert bench.bonds.all() == []
        link = await bench.connect()
        await check_serves(bench, link)
        link = await bench.connect_anew(link)
        await link.security.forget()
        assert link.is_up
        with pytest.raises(StationError, match="no key for this unit"):
            await link.security.encrypt()
        await check_serves(bench, link)


async def test_a_link_that_is_encrypted_is_not_encrypted_again_and_can_be_paired_anew():
    async with paired_air(device(f"{{{SHOWS}}}")) as bench:
        link = await bench.connect()
        assert (await link.security.pair(Wish(), Person())).authenticated is False
        assert await link.security.encrypt() == Encrypted(NONE, False, True, 16)
        assert link.security.level is Level.ENCRYPTED
        await check_serves(bench, link)
        assert link.security.level is Level.SECURE_CONNECTIONS
        (bond,) = bench.bonds.all()
        assert (bond.method, bond.name, bond.radio) == ("passkey", "lock", "virtual")


async def test_an_encryption_whose_link_is_lost_or_that_nobody_answers():
    async with paired_air(device("{}")) as bench:
        link = await bench.connect()
        await check_serves(bench, link, Wish())
        link = await bench.connect_anew(link)
        unit = bench.device()
        unit.reboot(0.5)
        assert (await link.security.encrypt()).failure == LINK_LOST
        link = await bench.connect()
        unit.device.host.long_term_key_provider = lambda *_: asyncio.sleep(100)
        assert (await link.security.encrypt()).failure == TIMEOUT
        async with asyncio.timeout(5):
            await link.lost.wait()


async def test_a_request_for_security_is_noted_and_not_obeyed():
    async with paired_air(device("{security_request: true}")) as bench:
        link = await bench.connect()
        await asyncio.sleep(1)
        assert link.security.level is Level.NO_SECURITY
        (remark,) = bench.radio.remarks()
        assert "lock asked for security" in remark
        await check_serves(bench, link, Wish())
        assert bench.radio.remarks() == []


async def test_a_controller_that_is_lost_while_somebody_is_asked():
    async with paired_air(device(f"{{{SHOWS}}}")) as bench:
        link = await bench.connect()
        pairing = asyncio.ensure_future(link.security.pair(KEYBOARD, Person(after=5)))
        await asyncio.sleep(1)
        bench.radio.client_options["stack"].host.lose("the controller has gone")
        with pytest.raises(StationError, match="the controller has gone"):
            await pairing


class Full(MemoryBonds):
    def keep(self, bond):
        raise StationError("the disk is full")


async def test_a_bond_that_cannot_be_kept():
    async with paired_air(device("{}"), bonds=Full()) as bench:
        link = await bench.connect()
        with pytest.raises(StationError, match="the disk is full"):
            await link.security.pair(Wish(), Person())


@pytest.mark.parametrize("air", ["rough", "crowded"])
async def test_pairing_in_an_air_that_loses_packets(air):
    async with paired_air(device(f"{{{SHOWS}}}"), air=air) as bench:
        link = await bench.connect()
        await check_serves(bench, link)
        link = await bench.connect_anew(link)
        assert (await link.security.encrypt()).failure == NONE
        assert ended(await link.security.pair(KEYBOARD, Person(entered=1))) == ("confirm value failed", "device")
        await check_serves(bench, link, Wish("keyboard", True, "legacy"))


# A point off the curve: the public key B of the sample data (Core Vol 2 Part G 7.1.2, P-256 set 1), its lowest bit of Y flipped
OFF_CURVE = (
    bytes.fromhex("1ea1f0f01faf1d9609592284f19e4c0047b58afd8615a69f559077b22faaa190"),
    bytes.fromhex("4c55f33e429dad377356703a9ab85160472d1130e28e36765f89aff915b1214b"),
)


@pytest.mark.parametrize("sends", ["sound", "off the curve", "the bench's own"])
async def test_a_public_key_that_proves_nothing(sends, monkeypatch):
    async with paired_air(device("{capability: none}")) as bench:
        link = await bench.connect()
        keys = {"off the curve": OFF_CURVE, "the bench's own": await own_key(bench)}
        manager = bench.device().device.smp_manager
        sound = manager.send_command

        def send(connection, command):
            if sends in keys and isinstance(command, smp.SMP_Pairing_Public_Key_Command):
                x, y = keys[sends]
                command = smp.SMP_Pairing_Public_Key_Command(public_key_x=x[::-1], public_key_y=y[::-1])
            sound(connection, command)

        monkeypatch.setattr(manager, "send_command", send)
        expected = (NONE, None) if sends == "sound" else (INVALID_KEY, "device")
        assert ended(await link.security.pair(Wish(), Person())) == expected
        assert len(bench.bonds.all()) == (sends == "sound")


async def own_key(bench):
    key = bench.radio.client_options["stack"].security.ecc_key
    return key.x, key.y


async def test_a_fault_of_ours_is_not_the_units(monkeypatch):
    async with paired_air(device("{capability: none}")) as bench:
        link = await bench.connect()

        def fails(self, command):
            raise ZeroDivisionError

        with monkeypatch.context() as patched:
            patched.setattr(Session, "on_smp_pairing_response_command", fails)
            with pytest.raises(InternalError, match="ZeroDivisionError"):
                await link.security.pair(Wish(), Person())
        await check_serves(bench, link, Wish())
