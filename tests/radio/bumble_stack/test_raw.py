"""Octets over a link as they are: bumble hears nothing of them, and what the unit says of its own is seen to."""

from __future__ import annotations

import asyncio
from types import SimpleNamespace

import pytest

from benchrig.radio.bumble_stack.raw import RawChannels
from benchrig.radio.raw import Frame
from benchrig.radio.scan import Selection
from benchrig.values.channels import ATT, SIGNALLING, SMP
from tests.radio.on_air import at_units
from tests.run.kit import device_text

FIND, FOUND = Frame(ATT, bytes.fromhex("04 01 00 01 00")), Frame(ATT, bytes.fromhex("05 01 01 00 00 28"))
DEVICE = device_text("""services:
  - service: battery
    characteristics:
      - {characteristic: battery level, properties: [read, notify], value: 97 %, notify: {period: 100 ms}}
""")


class Ends:
    """A host and a link that are not there: `send` keeps what goes out, `come` is what comes in."""

    def __init__(self):
        self.sent = []
        self.raw = {}
        self.gone = asyncio.get_running_loop().create_future()
        self.connection = SimpleNamespace(handle=7)

    @property
    def is_up(self):
        return not self.gone.done()

    def send_l2cap_pdu(self, handle, cid, pdu):
        self.sent.append((handle, Frame(cid, pdu)))

    def come(self, channel, text):
        return self.raw[7](channel, bytes.fromhex(text))


def with_ends(work):
    async def main():
        ends = Ends()
        channels = RawChannels(ends, ends)
        return await work(ends, channels)

    return asyncio.run(main())


@pytest.mark.parametrize(
    ("channel", "octets", "answer"),
    [
        (ATT, "1B 03 00 01", None),
        (ATT, "23 03 00 01 00 07", None),
        (ATT, "1D 03 00 01", b"\x1e"),
        (ATT, "02 17 00", bytes.fromhex("01 02 00 00 06")),
        (SMP, "0B 01", None),
    ],
)
def test_what_the_unit_says_of_its_own_is_no_answer(channel, octets, answer):
    async def work(ends, channels):
        assert ends.come(channel, octets), "bumble does not hear it"
        assert await channels.hear(0.01) is None
        assert ends.sent == ([(7, Frame(channel, answer))] if answer else [])

    with_ends(work)


@pytest.mark.parametrize(
    ("channel", "octets"),
    [(ATT, ""), (ATT, "1B"), (ATT, "1D 03"), (ATT, "FF 00 FF"), (ATT, "05 01"), (SMP, "0B 01 02"), (SMP, "05 08"), (SIGNALLING, "01 01 00 00"), (0x40, "01")],
)  # fmt: skip
def test_what_may_be_an_answer_is_heard(channel, octets):
    async def work(ends, channels):
        assert ends.come(channel, octets)
        assert await channels.hear(1.0) == Frame(channel, bytes.fromhex(octets))

    with_ends(work)


def test_a_request_for_other_parameters_is_left_to_the_host():
    async def work(ends, channels):
        assert not ends.come(SIGNALLING, "12 01 08 00 06 00 0C 00 00 00 64 00")

    with_ends(work)


def test_a_link_that_ends_ends_the_wait():
    async def work(ends, channels):
        asyncio.get_running_loop().call_soon(ends.gone.set_result, 0x13)
        assert await channels.hear(60.0) is None
        channels.send(FIND)
        assert ends.sent == []
        channels.close()
        assert ends.raw == {}

    with_ends(work)


def test_over_a_link(tmp_path):
    async def work(units):
        [unit] = units
        await unit.find(0.0, 2.0)
        link = await unit.connect(2.0)
        with link.raw() as raw:
            raw.send(FIND)
            raw.send(Frame(ATT, bytes.fromhex("2A 01")))
            assert [await raw.hear(1.0), await raw.hear(1.0)] == [FOUND, Frame(ATT, bytes.fromhex("01 2A 00 00 06"))]
            raw.send(Frame(SMP, b"\xff"))
            raw.send(Frame(0x40, b"\x01"))
            assert await raw.hear(1.0) is None
        # and the host goes on as if nothing had been
        [level] = [found.attribute for found in link.table.attributes() if found.attribute.uuid.startswith("00002a19")]
        assert await link.read(level, "read the level", 1.0) == b"\x61"
        return link.is_up

    assert at_units(work, tmp_path, [Selection(name="unit 1")], DEVICE)
