"""An air with simulated devices, in a process of its own, with a controller of the bench behind a TCP port.

    python -m tests.contract.air DEVICES…

Says the number of the port when the devices advertise; every connection gets a controller of its own, in H4.
"""

from __future__ import annotations

import asyncio
import itertools
import sys
from pathlib import Path
from socket import IPPROTO_TCP, SOCK_STREAM, socket
from typing import Any

import click

from benchrig.radio.h4 import FROM_HOST, Framer
from benchrig.radio.virtual import conditions_of, load_devices
from benchrig.radio.virtual.air import Air
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.opening import switch_on
from benchrig.source.problem import Problems

LONGEST_PACKET = 4096
_numbers = itertools.count(1)


class Line(asyncio.Protocol):
    """A host that has called: its octets to a controller, and back."""

    def __init__(self, air: Air) -> None:
        number = next(_numbers)
        self._framer = Framer(FROM_HOST, LONGEST_PACKET)
        self._controller = VirtualController(f"bench {number}", air, f"02:00:00:00:01:{number % 256:02X}")

    def connection_made(self, transport: Any) -> None:
        self._transport = transport
        self._controller.host = self  # type: ignore[assignment]  # a sink needs no more than on_packet

    def on_packet(self, packet: bytes) -> None:
        self._transport.write(packet)

    def data_received(self, data: bytes) -> None:
        for packet in self._framer.feed(data):
            self._controller.on_packet(packet)

    def connection_lost(self, exc: Exception | None) -> None:
        """A controller that loses its host: its links end as by supervision time-out."""
        self._controller.host = None
        self._controller.on_packet(bytes((1, 3, 0x0C, 0)))  # HCI_Reset


async def main(files: list[str]) -> None:
    problems = Problems()
    models = load_devices([*map(Path, files)], problems)
    problems.raise_if_any()
    air = Air(seed=1, conditions=conditions_of(models))
    air.on_error = lambda error: click.echo(f"AIR {error!r}", err=True)
    devices = await switch_on(air, models)
    listener = socket(type=SOCK_STREAM, proto=IPPROTO_TCP)  # with protocol 0 asyncio leaves Nagle's algorithm on
    listener.bind(("127.0.0.1", 0))
    server = await asyncio.get_running_loop().create_server(lambda: Line(air), sock=listener)
    click.echo(f"{len(devices)} devices, port {server.sockets[0].getsockname()[1]}")
    await server.serve_forever()


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1:]))
