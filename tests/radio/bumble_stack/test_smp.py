"""What a side of a pairing makes of PDUs that do not belong where they come, and of keys."""

import asyncio

import pytest

from benchrig.radio.bumble_stack.bumble_api import smp
from benchrig.radio.bumble_stack.smp import Session, shortened
from benchrig.radio.security import NONE, Level, OobData, Wish
from tests.radio.bumble_stack.pairing import NUMBER, Person, device, paired_air

LONG = bytes.fromhex("6986791169d7cd23980522b594750a38")  # the LTK of the sample data, Core Vol 3 Part H D.3


@pytest.mark.parametrize(
    ("size", "short"),
    [
        (7, "0000000000000000000522b594750a38"),
        (12, "0000000069d7cd23980522b594750a38"),
        (16, "6986791169d7cd23980522b594750a38"),
    ],
)
def test_a_key_loses_its_most_significant_octets(size, short):
    assert shortened(LONG[::-1], size)[::-1] == bytes.fromhex(short)


REQUEST = bytes.fromhex("01030001100303")  # no input, no output; legacy, bonding; 16 octets
SECURE = bytes.fromhex("01030009100303")


class Raw:
    """Sends octets to the unit's security manager, and hears what it says."""

    def __init__(self, bench):
        self.heard = []
        self._security = bench.radio.client_options["stack"].security
        (self._connection,) = self._security.device.connections.values()
        self._security.on_smp_pdu = lambda _, pdu: self.heard.append(pdu)

    def stop(self):
        del self._security.on_smp_pdu

    async def send(self, *pdus):
        for pdu in pdus:
            self._connection.send_l2cap_pdu(smp.SMP_CID, pdu)
            await asyncio.sleep(0.3)
        heard, self.heard = [pdu[:2] if pdu[0] == 5 else pdu[:1] for pdu in self.heard], []
        return [pdu.hex() for pdu in heard]


async def test_a_unit_answers_what_is_out_of_order_and_pairs_afterwards():
    async with paired_air(device("{}")) as bench:
        link = await bench.connect()
        raw = Raw(bench)
        for code in (3, 4, 8, 12, 13):
            lengths = {3: 16, 4: 16, 8: 16, 12: 64, 13: 16}
            assert await raw.send(bytes((code,)) + bytes(lengths[code])) == ["0508"], code
        assert await raw.send(b"\x05\x08", b"\x0f\x00", b"\x00", b"\xff", b"") == []
        assert await raw.send(REQUEST[:-1], REQUEST + b"\x00", b"\x03\x01") == ["050a"] * 3
        # one request after another, a random number before a confirm value, keys before there is encryption
        assert await raw.send(REQUEST, REQUEST) == ["02", "0508"]
        assert await raw.send(REQUEST, b"\x04" + bytes(16)) == ["02", "0508"]
        assert await raw.send(REQUEST, b"\x06" + bytes(16)) == ["02", "0508"]
        # without a public key there is no shared secret
        assert await raw.send(SECURE, b"\x04" + bytes(16)) == ["02", "0508"]
        assert await raw.send(SECURE, b"\x0d" + bytes(16)) == ["02", "0508"]
        # a public key that is none
        assert await raw.send(SECURE, b"\x0c" + bytes(64)) == ["02", "050a"]
        # capabilities and key sizes that there are not
        assert await raw.send(b"\x01\x05" + REQUEST[2:], REQUEST[:4] + b"\x11\x03\x03") == ["050a", "050a"]
        assert await raw.send(REQUEST[:4] + b"\x06\x03\x03") == ["0506"]
        raw.stop()
        assert (await link.security.pair(Wish(), Person())).failure == NONE
        assert await bench.read(link) == b"\x07"


async def test_a_key_of_a_pairing_that_failed_encrypts_nothing():
    """After nineteen bits of the passkey all that is missing is a proof."""
    shows = f"{{capability: display, passkey: '{NUMBER:06}'}}"
    async with paired_air(device(shows)) as bench:
        link = await bench.connect()
        wrong = NUMBER ^ 1 << 19
        assert (await link.security.pair(Wish("keyboard", mitm=True), Person(entered=wrong))).failure != NONE
        unit, (connection,) = bench.device(), bench.device().connections
        provider = unit.device.host.long_term_key_provider
        assert await provider(connection.handle, bytes(8), 0) is None
        assert link.security.level is Level.NO_SECURITY


class Claims(Session):
    """A unit that says it knows of the other side out of band: then no passkey is asked for."""

    def send_pairing_response_command(self):
        self.oob_data_flag, self.pairing_method = 1, smp.PairingMethod.OOB
        super().send_pairing_response_command()


async def test_data_out_of_band_that_nobody_gave_authenticate_nobody(monkeypatch):
    def session(*arguments):
        return (Session if arguments[-1] else Claims)(*arguments)

    monkeypatch.setattr("benchrig.radio.bumble_stack.manager.Session", session)
    async with paired_air(device("{}")) as bench:
        link = await bench.connect()
        paired = await link.security.pair(Wish("keyboard", mitm=True), Person())
        assert (paired.failure, paired.failed_by, paired.authenticated) == ("invalid parameters", "bench", None)


async def test_a_temporary_key_of_zeros_authenticates_nobody():
    """A bench with data for Secure Connections, and a unit that takes legacy pairing alone."""
    async with paired_air(device(f"{{pairing: legacy, out_of_band: {{key: '{'00' * 16}'}}}}")) as bench:
        link = await bench.connect()
        wish = Wish(mitm=True, oob=OobData(random=bytes(16), confirm=bytes(16)))
        paired = await link.security.pair(wish, Person())
        assert (paired.failure, paired.failed_by) == ("oob not available", "bench")
