"""Rough air without hosts: bare bands, bare links, in one line each."""

import asyncio
from dataclasses import replace

from bumble import hci

from benchrig.radio.virtual.air import Air
from benchrig.radio.virtual.airlink import AirLink
from benchrig.radio.virtual.band import Advertiser
from benchrig.radio.virtual.carrier import Timing
from benchrig.radio.virtual.chance import Chance
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.radio.virtual.conditions import STILL
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.faults import Faults
from benchrig.radio.virtual.rough_band import RoughBand

ADDRESS = "C0:00:00:00:{:02X}:{:02X}".format
ALWAYS = (1e9, 1e9)  # one channel, for ever


def run(work):
    """On a virtual loop, without asyncio's debugging, which costs much where there are many timers."""
    with asyncio.Runner(loop_factory=VirtualLoop, debug=False) as runner:
        return runner.run(work)


class Scanner:
    """A listener that keeps what it hears, as (time, advertiser, level, level of the answer)."""

    def __init__(self, timing=ALWAYS, *, active=False, name="scanner"):
        self.scan_timing, self.scans_actively, self.name = timing, active, name
        self.asks_as = hci.Address("F0:00:00:00:00:01")
        self.heard = []

    def on_advertising(self, advertiser, rssi, answer):
        self.heard.append((asyncio.get_running_loop().time(), advertiser, rssi, answer))


class Band(RoughBand):
    """One that keeps its events, and whose units may all have one spacing."""

    def __init__(self, conditions=STILL, seed=1, spacing=None, **faults):
        super().__init__(Chance(seed), Faults(**faults), conditions)
        self.events, self._spacing = [], spacing

    def path_of(self, advertiser):
        path = super().path_of(advertiser)
        path.spacing = self._spacing or path.spacing
        return path

    def _broadcast(self, advertiser, at):
        self.events.append((at, advertiser))
        super()._broadcast(advertiser, at)


def advertisers(count, interval=0.1, octets=31, **more):
    return [
        Advertiser(hci.Address(ADDRESS(i >> 8, i & 0xFF)), bytes(octets), bytes(octets), interval, **more)
        for i in range(count)
    ]


async def listen(band, units, seconds, *scanners):
    """Everything that the scanners hear in this time."""
    for unit in units:
        band.start(unit)
    for scanner in scanners:
        band.listen(scanner)
    await asyncio.sleep(seconds)
    for scanner in scanners:
        band.unlisten(scanner)
    await asyncio.sleep(0.1)


def still(**changes):
    return replace(STILL, **changes)


class Link:
    """A central and a peripheral with nobody behind them, connected at the first request that is heard."""

    def __init__(self, conditions=STILL, seed=1, interval=40, timeout=3200):
        self.air = Air(seed, conditions=conditions)
        self.air.trace = []
        self.events = []
        self.central, self.peripheral = (VirtualController(name, self.air) for name in ("central", "peripheral"))
        self.central.host = self
        self.unit = Advertiser(hci.Address(ADDRESS(0, 0)), owner=self.peripheral)
        self.timing = Timing(interval, 0, timeout)
        self.air.connect(self.central, hci.Address(ADDRESS(0, 1)), self.unit, self.timing)

    def close(self):
        """Its events stay as they are."""
        self.central.host = None
        self.air.close()

    def on_packet(self, packet):
        """As the host of the central."""
        self.events.append((asyncio.get_running_loop().time(), hci.HCI_Packet.from_bytes(packet)))

    @property
    def link(self) -> AirLink:
        return self.air.links[0]

    def notify(self, data=b"1234"):
        self.link.send_data(self.link.peripheral, data, 1)

    @property
    def reasons(self):
        return [event.reason for _, event in self.events if isinstance(event, hci.HCI_Disconnection_Complete_Event)]
