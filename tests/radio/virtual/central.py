"""An honest central for simulated devices with security: it pairs, encrypts, and sends each kind of request."""

import asyncio

from benchrig.radio.bumble_stack.bumble_api import att
from benchrig.radio.security import Level, Wish
from tests.radio.virtual.bench import OWN

TYPES = Wish("keyboard", mitm=True)
LEGACY = Wish("keyboard", mitm=True, pairing="legacy")
SHOWS = Wish("display", mitm=True)
COMPARES = Wish("yes/no", mitm=True)
# how an honest bench gets to each level with a device that has a display
WISHES = {Level.ENCRYPTED: Wish(), Level.AUTHENTICATED: LEGACY, Level.SECURE_CONNECTIONS: TYPES}


class Person:
    """Reads what the device shows, or knows better; `seen` is what the bench shows."""

    def __init__(self, device, *, types=None, shows=None, agrees=True):
        self.device, self.types, self.shows, self.agrees = device, types, shows, agrees
        self.seen = None

    async def enter(self):
        await asyncio.sleep(0.5)
        return int(self.device.security.shown) if self.types is None else self.types

    def chosen(self):
        return self.shows

    async def show(self, passkey):
        self.seen = passkey

    async def compare(self, number):
        self.seen = number
        return self.agrees


async def pair(bench, client, wish=TYPES, person=None):
    return await client._backend.security("unit").pair(wish, person or Person(bench.device))


async def encrypt(client):
    return await client._backend.security("unit").encrypt()


def unit(security="", *, name="unit", more="", attributes=None):
    """A device file: of characteristics 2 … what each has beside `as` and `value`."""
    rows = [
        f"      - {{characteristic: {OWN(2 + at)}, as: uint8, value: 7, {keys}}}"
        for at, keys in enumerate(attributes or GUARDED)
    ]
    head = f"device: {name}\naddress: 'C0:11:22:33:44:55'\nsecurity: {{{security}}}\n{more}"
    return f"{head}services:\n  - service: {OWN(1)}\n    characteristics:\n" + "\n".join(rows) + "\n"


GUARDED = ["name: value, properties: [read, write], read_needs: encrypted, write_needs: authenticated"]


async def read(client, number=2):
    """The value, or the ATT error."""
    return await code_of(client, att.ATT_Read_Request(attribute_handle=handle(client, number)))


async def write(client, number=2, value=b"\x01"):
    request = att.ATT_Write_Request(attribute_handle=handle(client, number), attribute_value=value)
    return await code_of(client, request)


def handle(client, number):
    return client.services.get_characteristic(OWN(number)).handle


async def code_of(client, request):
    """The ATT error that a request gets; 0 for none."""
    response = await client._backend._require_link().client.send_request(request)
    return response.error_code if response.op_code == att.Opcode.ATT_ERROR_RESPONSE else 0
