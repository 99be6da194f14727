"""A bench that pairs with simulated devices: `async with paired_air(DEVICE) as bench:`."""

import asyncio
import contextlib
from dataclasses import dataclass, field

from msgspec.structs import replace

from benchrig.radio.bonds import LongTermKey, Secret
from benchrig.radio.bumble_stack import BumbleClient, BumbleScanner
from benchrig.radio.hci import open_hci
from benchrig.radio.link import Link
from benchrig.radio.port.choice import parse_ports
from benchrig.radio.port.opening import open_ports
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection
from benchrig.radio.table import Segment
from benchrig.radio.unit import Unit
from benchrig.radio.virtual import conditions_of, open_air
from tests.radio.running import kept
from tests.radio.virtual.bench import models

SECRET = "6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"
NUMBER = 42517  # with a zero in front


def device(security, name="lock", more=""):
    """A device file: one attribute that needs encryption, and `security` as it is written there."""
    return f"""
device: {name}
address: 'C1:22:33:44:55:{sum(name.encode()) % 256:02X}'
advertising: {{data: {{flags: 0x06, name: {name}}}}}
security: {security}
{more}
services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - {{characteristic: {SECRET}, name: secret, properties: [read, write], as: uint8, value: 7, encrypted: true}}
"""


@dataclass
class Person:
    """At the bench. What is asked of him stands in `asked`; answers may be exceptions."""

    entered: object = NUMBER
    number: int | None = NUMBER
    same: object = True
    after: float = 0.0
    asked: list = field(default_factory=list)

    async def _answer(self, answer):
        await asyncio.sleep(self.after)
        if isinstance(answer, Exception):
            raise answer
        return answer

    async def enter(self):
        self.asked.append("enter")
        return await self._answer(self.entered)

    def chosen(self):
        return self.number

    async def show(self, passkey):
        self.asked.append(f"show {passkey:06}")

    async def compare(self, number):
        self.asked.append(f"compare {number:06}")
        return await self._answer(self.same)


class Bench:
    def __init__(self, radio, air):
        self.radio, self.air, self.unit = radio, air, Unit(radio, Selection())

    def device(self, name="lock"):
        return self.air.devices[name]

    @property
    def bonds(self):
        return self.radio.client_options["stack"].bonds

    def change_key(self, name="lock"):
        """The unit has another key for this bench."""
        bonds = self.device(name).security.bonds
        for bond in bonds.all():
            other = LongTermKey(Secret(bytes(range(16))), random=Secret(bytes(8)))
            bonds.keep(replace(bond, keys=replace(bond.keys, ltk=bond.keys.ltk and other, ltk_peripheral=other)))

    async def connect(self, name="lock") -> Link:
        self.unit.selection = Selection(name=name)
        if self.unit.sighting is not None and self.unit.sighting.name != name:
            self.unit.let_go()
        await self.unit.find(0.0, 10.0)
        return await self.unit.connect(10.0)

    async def connect_anew(self, link) -> Link:
        if link.is_up:
            await link.disconnect()
        return await self.connect()

    async def read(self, link):
        return await link.read(link.table.find((Segment(SECRET),))[0].attribute, "read", 5.0)


@contextlib.asynccontextmanager
async def paired_air(*devices, air=None, bonds=None):
    """On the virtual radio. Nothing may be left running, and nothing may have gone wrong unseen."""
    before, stray = asyncio.all_tasks(), []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: stray.append(context))
    found = [model for text in devices for model in models(text)]
    opened = await open_air(found, seed=1, conditions=conditions_of(found, air), bonds=bonds)
    stack = opened.stack
    options = {"backend": BumbleScanner, "stack": stack}, {"backend": BumbleClient, "stack": stack}
    radio = Radio("virtual", scanner_options=options[0], client_options=options[1])
    try:
        yield Bench(radio, opened)
    finally:
        await radio.close()
        await opened.close()
        left = asyncio.all_tasks() - before
        assert not left, left
        assert not stray, stray


@contextlib.asynccontextmanager
async def paired_air_on_tcp(folder, *devices, air=None):
    """The same on a controller behind a TCP port, in real time."""
    found = [model for text in devices for model in models(text)]
    opened = await open_air(found, seed=1, conditions=conditions_of(found, air))
    try:
        ports = await open_ports(opened.air, parse_ports(["tcp:127.0.0.1:0"], []), kept(folder))
        address = ports.ports[0].door.address
        radio = await open_hci(f"hci:tcp:{address}", f"tcp:{address}")
        try:
            yield Bench(radio, opened)
        finally:
            await radio.close()
            await ports.close()
    finally:
        await opened.close()
