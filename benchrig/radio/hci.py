"""A controller of the bench's own, without an operating system's stack: on USB, on a serial line, or behind a TCP port.

It is driven by the same stack as the virtual radio. Nothing here loads bumble before a controller is opened.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bleak.exc import BleakBluetoothNotAvailableError

from benchrig.errors import StationError
from benchrig.radio.attached import open_error
from benchrig.radio.bonds import MemoryBonds, StationIdentity
from benchrig.radio.h4 import FROM_CONTROLLER, Framer, NotH4
from benchrig.radio.hci_errors import advice_for
from benchrig.radio.lock_file import WITHIN, LockFile, name_of
from benchrig.radio.lock_file import Radio as LockedRadio
from benchrig.radio.offers import CANNOT
from benchrig.radio.radio import Radio
from benchrig.radio.stacked import StackRadio

if TYPE_CHECKING:
    from pathlib import Path

    from benchrig.radio.bonds import Bonds
    from benchrig.radio.bumble_stack import HostStack
    from benchrig.radio.bumble_stack.bumble_api import Transport

# The names by which bumble knows the transports.
_SCHEMES = {"usb": "usb", "serial": "serial", "tcp": "tcp-client"}
OPEN_WITHIN = 10.0
# What has begun on a line is through after this: 4,096 octets take 0.4 s at 115,200 baud.
PART_WITHIN = 1.0
LONGEST_PACKET = 4096


# What a controller may take to answer when it is asked whether it is still there.
PROBE_WITHIN = 1.0


@dataclass
class HciRadio(StackRadio):
    """A radio on a controller of its own. `kind` is its transport: usb, serial or tcp."""

    kind: str = ""

    @property
    def advice(self) -> str:
        return advice_for(self.kind)

    async def is_there(self) -> bool:
        return self.stack is None or await self.stack.answers(PROBE_WITHIN)


async def open_hci(
    name: str,
    transport: str,
    *,
    capture: Path | None = None,
    bonds: Bonds | None = None,
    within: float = WITHIN,
) -> Radio:
    """Open a controller and take it over. `transport` is 'usb:0', 'serial:/dev/ttyUSB0,1000000' or
    'tcp:127.0.0.1:9000'. Without `bonds` the bench is somebody new. Another benchrig that has it is waited for, `within`
    seconds: its work would end when the controller is reset. Raises StationError for whatever keeps it from working."""
    kind, _, place = transport.partition(":")
    resources = contextlib.AsyncExitStack()
    async with resources:
        lock = await LockFile.take(_locked(name, kind, place), within)
        resources.callback(lock.release)
        opened = await _open(kind, place)
        resources.push_async_callback(_close, opened)
        stack = await _take_over(opened, kind, name, resources, capture, bonds or MemoryBonds(StationIdentity.new()))
        return HciRadio(
            name,
            scanner_options={"backend": _backends()[0], "stack": stack},
            client_options={"backend": _backends()[1], "stack": stack},
            facts=_facts(stack),
            cannot=CANNOT["hci"],
            bonds=stack.bonds,
            on_close=resources.pop_all().aclose,
            waited=lock.waited,
            kind=kind,
            stack=stack,
        )


def _locked(name: str, kind: str, place: str) -> LockedRadio:
    """A serial port has one lock, under whatever name and at whatever speed it is opened."""
    if kind == "serial":
        place = os.path.realpath(place.partition(",")[0])
    return LockedRadio(
        name_of(f"hci-{kind}-{place}"), f"the radio '{name}'", "end it, or take another controller: --radio hci:…"
    )


async def _open(kind: str, place: str) -> Transport:
    """bumble's transport. Its errors are of many kinds: the system's, those of the libraries below, bare ones."""
    try:
        from benchrig.radio.bumble_stack.bumble_api import open_transport

        async with asyncio.timeout(OPEN_WITHIN):
            return await open_transport(f"{_SCHEMES[kind]}:{place}")
    except Exception as exc:
        raise open_error(exc, kind, place) from exc


async def _take_over(
    opened: Transport,
    kind: str,
    name: str,
    resources: contextlib.AsyncExitStack,
    capture: Path | None,
    bonds: Bonds,
) -> HostStack:
    """Reset the controller and drive it; what has to be closed goes to `resources`."""
    from benchrig.radio.bumble_stack import HostStack
    from benchrig.radio.virtual.capture import Capture

    snooper = Capture(capture) if capture else None
    if snooper:
        resources.callback(snooper.close)
    line = _Line(opened)
    resources.callback(line.close)
    try:
        stack = await HostStack.open(
            opened.source, opened.sink, bonds=bonds, snooper=snooper, foreign=True, on_host=line.attach
        )
    except BleakBluetoothNotAvailableError as exc:
        raise StationError(f"{name}: {exc.args[0]}", advice=advice_for(kind)) from exc
    resources.push_async_callback(stack.close)
    return stack


def _backends() -> tuple[Any, Any]:
    from benchrig.radio.bumble_stack import BumbleClient, BumbleScanner

    return BumbleScanner, BumbleClient


async def _close(opened: Transport) -> None:
    """A device that has been pulled out cannot be closed in order any more."""
    with contextlib.suppress(Exception):
        async with asyncio.timeout(OPEN_WITHIN):
            await opened.close()


class _Line:
    """Holds a stream of packets to its format, where bumble would go on after a mistake. On USB there is no stream."""

    def __init__(self, opened: Transport) -> None:
        self._source: Any = opened.source
        self._framer = Framer(FROM_CONTROLLER, LONGEST_PACKET)
        self._host: Any = None
        self._timer: asyncio.TimerHandle | None = None

    def attach(self, host: Any) -> None:
        """Deliver to this host from now on."""
        self._host = host
        if hasattr(self._source, "parser"):
            self._source.parser = self

    def feed_data(self, data: bytes) -> None:
        """Called by bumble's source with what has come."""
        self.close()
        try:
            for packet in self._framer.feed(data):
                self._host.on_packet(packet)
        except NotH4 as exc:
            self._host.lose(f"the controller sent invalid HCI: {exc}")
            return
        if self._framer.is_inside:
            self._timer = asyncio.get_running_loop().call_later(PART_WITHIN, self._cut_short)

    def set_packet_sink(self, sink: Any) -> None:
        self._host = sink

    def _cut_short(self) -> None:
        self._host.lose("the controller sent a part of a packet and no more")

    def close(self) -> None:
        if self._timer:
            self._timer.cancel()
            self._timer = None


def _facts(stack: HostStack) -> dict[str, str]:
    """What the controller says about itself (Core Vol 4 Part E 7.4.1, 7.8.3)."""
    host, device = stack.host, stack.device
    facts = {"controller address": stack.controller_address or stack.address_text, "address": stack.address_text}
    if version := host.local_version:
        facts["controller"] = (
            f"HCI {_version(version.hci_version)} revision 0x{version.hci_subversion:04X}, "
            f"LMP {_version(version.lmp_version)} subversion 0x{version.lmp_subversion:04X}, "
            f"manufacturer 0x{version.company_identifier:04X}"
        )
    features = [str(getattr(one, "name", one)).lower().replace("_", " ") for one in host.supported_le_features]
    facts["controller features"] = ", ".join(features) or "none"
    facts["controller buffers"] = _buffers(device.host)
    return facts


def _buffers(host: Any) -> str:
    queue = host.le_acl_packet_queue
    return f"{queue.max_in_flight} of {queue.max_packet_size} bytes" if queue else "unknown"


def _version(number: int) -> str:
    """'5.4', from the assigned number (Bluetooth Assigned Numbers, core specification versions)."""
    from benchrig.radio.bumble_stack.bumble_api import hci

    try:
        words = hci.SpecificationVersion(number).name.removeprefix("BLUETOOTH_CORE_").split("_")
    except ValueError:
        return f"number {number}"
    return ".".join(words[:2])
