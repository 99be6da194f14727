"""A whole bench in one line: `async with Bench(yaml) as bench:`."""

import asyncio

from bleak import BleakClient, BleakScanner

from benchrig.radio.bumble_stack import BumbleClient, BumbleScanner
from benchrig.radio.virtual import Faults, conditions_of, devices_of, open_air
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_text

OWN = "6b1d{:04x}-9a53-4c86-8a3e-2f0f6c1d7e40".format
TEMPERATURE = "00002a6e-0000-1000-8000-00805f9b34fb"
BATTERY = "00002a19-0000-1000-8000-00805f9b34fb"
VALUE, LONG, COMMAND, NOTIFY, INDICATE, BOTH = (OWN(number) for number in range(2, 8))

LOGGER = f"""
device: logger
address: 'C0:11:22:33:44:55'
advertising:
  data: {{flags: 0x06, name: logger, services: [environmental sensing]}}
  scan_response: {{tx_power: 4 dBm}}
rssi: {{mean: -55 dBm, spread: 2 dB}}
services:
  - service: environmental sensing
    characteristics:
      - characteristic: temperature
        properties: [read, notify]
        value: {{noise: {{mean: 21.5 °C, sd: 0.1 °C}}}}
        notify: {{period: 1 s, jitter: 20 ms}}
  - service: {OWN(1)}
    characteristics:
      - {{characteristic: {VALUE}, name: value, as: uint16, properties: [read, write], value: 1}}
      - {{characteristic: {LONG}, name: long, properties: [read, write], as: hex, raw: '{"0102030405060708" * 64}'}}
      - {{characteristic: {COMMAND}, name: command, as: hex, properties: [write without response],
          on_write: {{notify: {{updates: written}}}}}}
      - {{characteristic: {NOTIFY}, name: updates, as: hex, properties: [notify], raw: '00'}}
      - {{characteristic: {INDICATE}, name: indications, properties: [indicate], as: uint8,
          value: {{counter: {{}}}}, notify: {{period: 100 ms, count: 3}}}}
      - {{characteristic: {BOTH}, name: both, properties: [notify, indicate], as: uint8,
          value: {{counter: {{}}}}, notify: {{period: 100 ms, count: 3}}}}
"""


def models(text):
    """The models of a sound device file."""
    problems = Problems()
    node = read_text(text, "device.yaml", problems)
    found = devices_of(node, problems) if node else []
    problems.raise_if_any()
    return found


def problems_of(text):
    """What a device file that is not sound says, without the excerpts."""
    problems = Problems()
    if node := read_text(text, "device.yaml", problems):
        devices_of(node, problems)
    return [f"{p.place.line}:{p.place.column} {p.message}" for p in problems.found]


def characteristic(**keys):
    """A device file with one characteristic, `keys` as they are written in YAML."""
    body = "\n".join(f"        {key}: {text}" for key, text in keys.items())
    return f"device: one\nservices:\n  - service: {OWN(1)}\n    characteristics:\n      -\n{body}\n"


def reacting(**keys):
    """A device with one number that reacts, beside the sound one of the logger."""
    lines = "\n".join(f"        {key}: {text}" for key, text in keys.items())
    return LOGGER + f"      - characteristic: {OWN(9)}\n        name: special\n        as: uint8\n{lines}\n"


SPECIAL = OWN(9)


class Bench:
    """An open air; after it nothing may be left running."""

    def __init__(self, text=LOGGER, *, seed=1, air=None, **faults):
        self.models, self.seed, self.faults = models(text), seed, Faults(**faults)
        self.conditions = conditions_of(self.models, air)
        self.drops = []

    async def __aenter__(self):
        self.before = asyncio.all_tasks()
        self.air = await open_air(self.models, seed=self.seed, faults=self.faults, conditions=self.conditions)
        self.stack = self.air.stack
        return self

    async def __aexit__(self, *_):
        await self.air.close()
        left = asyncio.all_tasks() - self.before
        assert not left, f"left running: {left}"

    @property
    def device(self):
        return next(iter(self.air.devices.values()))

    @property
    def now(self):
        return asyncio.get_running_loop().time()

    async def scan(self, seconds=1.0, mode="active"):
        """Everything heard, as (device, advertisement)."""
        heard = []
        async with self.scanner(lambda device, said: heard.append((device, said)), mode):
            await asyncio.sleep(seconds)
        return heard

    def scanner(self, callback=None, mode="active"):
        return BleakScanner(callback, scanning_mode=mode, backend=BumbleScanner, stack=self.stack)

    async def find(self, name="logger"):
        return await BleakScanner.find_device_by_name(name, 10.0, backend=BumbleScanner, stack=self.stack)

    def client(self, device, **options):
        return BleakClient(
            device, lambda _: self.drops.append(self.now), backend=BumbleClient, stack=self.stack, **options
        )

    async def connect(self, name="logger", **options):
        client = self.client(await self.find(name), **options)
        await client.connect()
        return client
