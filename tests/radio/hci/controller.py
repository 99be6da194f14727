"""Controllers behind TCP ports, good and bad, for the `hci` radio."""

import asyncio
import contextlib

from bumble import hci

from benchrig.radio.hci import open_hci
from benchrig.radio.port.hosted import HostedController
from benchrig.radio.virtual.air import Air

ADDRESS = "00:00:5E:00:53:01"


def opener(address):
    """What opens the `hci` radio on a controller at this TCP address."""
    return lambda: open_hci(f"hci:tcp:{address}", f"tcp:{address}")


class Line(asyncio.Protocol):
    """One connection of a host to a good controller, with what `meddle` makes of each of its packets: octets to send
    in its place, or None to hang up."""

    def __init__(self, meddle):
        self.meddle, self.count = meddle, 0
        self.air = Air(1)

    def connection_made(self, transport):
        self.transport = transport
        self.controller = HostedController(self.air, ADDRESS)
        self.controller.plug_in(self.say)

    def say(self, packet):
        data = self.meddle(self.count, packet)
        self.count += 1
        if data is None:
            self.transport.close()
        elif not self.transport.is_closing():
            self.transport.write(data)

    def data_received(self, data):
        while data:
            size = 4 + data[3] if data[0] == hci.HCI_COMMAND_PACKET else 5 + int.from_bytes(data[3:5], "little")
            with contextlib.suppress(Exception):
                self.controller.on_packet(data[:size])
            data = data[size:]

    def connection_lost(self, exc):
        self.controller.unplug()
        self.air.close()


class HearingLine(Line):
    """A line whose controller hears `reports`, each so many seconds after the start of a scan: (seconds, packet)."""

    def __init__(self, reports):
        super().__init__(lambda number, packet: packet)
        self.reports, self.timers = reports, []

    def data_received(self, data):
        super().data_received(data)
        if SCAN_ON in data:
            loop = asyncio.get_running_loop()
            self.timers = [loop.call_later(at, self.say, packet) for at, packet in self.reports]
        elif SCAN_OFF in data:
            self.silence()

    def silence(self):
        for timer in self.timers:
            timer.cancel()

    def connection_lost(self, exc):
        self.silence()
        super().connection_lost(exc)


# LE Set Scan Enable with duplicates (Core Vol 4 Part E 7.8.11).
SCAN_ON, SCAN_OFF = bytes.fromhex("010C20020100"), bytes.fromhex("010C20020000")


def meddled(meddle):
    """A controller whose answers are meddled with; its address."""
    return _served(lambda: Line(meddle))


def hearing(*reports):
    """A controller that hears these reports, (seconds since the start of the scan, packet); its address."""
    return _served(lambda: HearingLine(reports))


@contextlib.asynccontextmanager
async def _served(line):
    server = await asyncio.get_running_loop().create_server(line, "127.0.0.1", 0)
    try:
        yield f"127.0.0.1:{server.sockets[0].getsockname()[1]}"
    finally:
        server.close()
        await server.wait_closed()
