"""In the guest: an air with simulated devices, and a controller of it behind /dev/vhci for the kernel.

    python -m tests.host_stack.air DEVICES [ADAPTERS]

Says READY when the devices advertise; runs until it is killed. At SIGUSR1 the devices have other keys than those that they
gave out.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from collections.abc import Iterable
from pathlib import Path

import click
from msgspec.structs import replace

from benchrig.radio.bonds import Secret
from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.air import Air
from benchrig.radio.virtual.controller import VirtualController
from benchrig.radio.virtual.device import SimulatedDevice
from benchrig.radio.virtual.opening import switch_on
from benchrig.source.problem import Problems

VENDOR_PACKET = 0xFF
PRIMARY_CONTROLLER = 0x00


class Vhci:
    """The kernel's end of a controller: one H4 packet a read and a write of /dev/vhci."""

    def __init__(self, controller: VirtualController) -> None:
        self.controller = controller
        self.fd = os.open("/dev/vhci", os.O_RDWR | os.O_NONBLOCK)
        os.write(self.fd, bytes((VENDOR_PACKET, PRIMARY_CONTROLLER)))
        controller.host = self  # type: ignore[assignment]  # a sink needs no more than on_packet
        asyncio.get_running_loop().add_reader(self.fd, self._read)

    def on_packet(self, packet: bytes) -> None:
        os.write(self.fd, packet)

    def _read(self) -> None:
        packet = os.read(self.fd, 4096)
        if packet and packet[0] != VENDOR_PACKET:
            self.controller.on_packet(packet)


def change_keys(devices: Iterable[SimulatedDevice]) -> None:
    for security in (device.security for device in devices):
        for bond in security.bonds.all():
            if bond.keys.ltk is not None:
                key = replace(bond.keys.ltk, key=Secret(bytes(16)))
                security.bonds.keep(replace(bond, keys=replace(bond.keys, ltk=key)))


async def main(files: str, adapters: int) -> None:
    problems = Problems()
    models = load_devices([Path(name) for name in files.split(",")], problems)
    problems.raise_if_any()
    air = Air(seed=1)
    air.on_error = lambda error: click.echo(f"AIR {error!r}", err=True)
    devices = await switch_on(air, models)
    controllers = [
        VirtualController(f"hci{index}", air, f"02:00:00:00:00:{index + 1:02X}") for index in range(adapters)
    ]
    ports = [Vhci(controller) for controller in controllers]
    asyncio.get_running_loop().add_signal_handler(signal.SIGUSR1, change_keys, devices.values())
    click.echo(f"READY {len(devices)} {len(ports)}")
    await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 1))
