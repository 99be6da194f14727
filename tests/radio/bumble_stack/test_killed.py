"""A link that ends at any PDU of a pairing: the pairing ends, says so, leaves no bond, and the next one works."""

import asyncio
from itertools import count

import pytest

from benchrig.radio.security import LINK_LOST, NONE, Wish
from tests.radio.bumble_stack.pairing import NUMBER, Person, device, paired_air

KEYBOARD = f"{{capability: keyboard, passkey: '{NUMBER:06}'}}"
DISPLAY = f"{{capability: display, passkey: '{NUMBER:06}'}}"
NONE_AT_ALL = "{capability: none}"
METHODS = {
    "just works": (Wish(), NONE_AT_ALL),
    "legacy just works": (Wish(pairing="legacy"), NONE_AT_ALL),
    "unit shows": (Wish("keyboard", mitm=True), DISPLAY),
    "legacy, unit shows": (Wish("keyboard", mitm=True, pairing="legacy"), DISPLAY),
    "unit types": (Wish("display", mitm=True), KEYBOARD),
    "legacy, unit types": (Wish("display", mitm=True, pairing="legacy"), KEYBOARD),
    "comparison": (Wish("yes/no", mitm=True), "{capability: yes/no}"),
}


class Meter:
    """Counts what the bench sends and hears of the security manager protocol, and calls `then` at number `at`."""

    def __init__(self, security):
        self.number, self.at, self.then = 0, 0, lambda: None
        self._send, self._take = security.send_command, security.on_smp_pdu
        security.send_command, security.on_smp_pdu = self.send, self.take

    def send(self, connection, command):
        self._send(connection, command)
        self.tick()

    def take(self, connection, pdu):
        self._take(connection, pdu)
        self.tick()

    def tick(self):
        self.number += 1
        if self.number == self.at:
            self.then()


def killer(bench, link, way):
    unit = bench.device()
    return {
        "unit disconnects": lambda: unit.spawn(unit.disconnect(None)),
        "unit without power": lambda: unit.reboot(0.5),
        "bench disconnects": lambda: unit.spawn(link.disconnect()),
    }[way]


async def check_killed(method, way, step=1):
    wish, security = METHODS[method]
    async with paired_air(device(security)) as bench:
        meter = Meter(bench.radio.client_options["stack"].security)
        reached = 0
        for at in count(1, step):
            link = await bench.connect()
            meter.number, meter.at, meter.then = 0, at, killer(bench, link, way)
            async with asyncio.timeout(40):
                paired = await link.security.pair(wish, Person())
            assert paired.failure in (LINK_LOST, NONE), at
            assert bool(bench.bonds.all()) is (paired.failure == NONE), at
            if meter.number < at:
                break
            reached += 1
            # what the bench has queued goes out before its own disconnection
            assert paired.failure == LINK_LOST or way == "bench disconnects", at
            async with asyncio.timeout(10):
                await link.lost.wait()
            link = await bench.connect()
            assert (await link.security.pair(wish, Person())).failure == NONE, at
            assert await bench.read(link) == b"\x07"
            await link.disconnect()
        return reached


async def test_a_link_that_ends_in_a_pairing():
    assert await check_killed("just works", "unit disconnects", step=3) == 5


@pytest.mark.slow
@pytest.mark.timeout(300)
@pytest.mark.parametrize("way", ["unit disconnects", "unit without power", "bench disconnects"])
@pytest.mark.parametrize("method", METHODS)
async def test_a_link_that_ends_at_any_pdu(method, way):
    legacy, passkey = METHODS[method][0].pairing == "legacy", "unit" in method
    assert await check_killed(method, way) == (14 if legacy else 90 if passkey else 13)
