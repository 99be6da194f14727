"""The fence around bumble: whatever benchrig takes from it comes from here, and only here a private member is touched.

bumble is young, and its members come and go between two patch releases. What benchrig overrides and touches of its
classes is listed in bumble_check.py, which says what another version lacks. Importing this takes 0.3 s.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any, TypeAlias

from bumble import att, core, hci, ll, smp
from bumble.controller import Connection as ControllerConnection
from bumble.controller import Controller as BumbleController
from bumble.core import UUID, PhysicalTransport
from bumble.crypto import EccKey  # type: ignore[attr-defined]
from bumble.crypto import e as encrypt_block  # type: ignore[attr-defined]
from bumble.device import (
    AdvertisingType,
    Connection,
    ConnectionParametersPreferences,
    Device,
    DeviceConfiguration,
    LegacyAdvertiser,
)
from bumble.gatt import Characteristic, CharacteristicValue, Descriptor, Service
from bumble.gatt_client import Client
from bumble.gatt_server import Server
from bumble.host import Host as BumbleHost
from bumble.keys import PairingKeys
from bumble.pairing import PairingConfig, PairingDelegate
from bumble.snoop import BtSnooper, Snooper
from bumble.transport.common import TransportLostError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from bumble.transport.common import Transport, TransportSink, TransportSource

__all__ = [
    "PLAIN",
    "UUID",
    "AdvertisingType",
    "BtSnooper",
    "BumbleController",
    "Characteristic",
    "CharacteristicValue",
    "Client",
    "Connection",
    "ConnectionParametersPreferences",
    "Controller",
    "ControllerConnection",
    "Descriptor",
    "Device",
    "DeviceConfiguration",
    "EccKey",
    "Host",
    "LegacyAdvertiser",
    "PairingConfig",
    "PairingDelegate",
    "PairingKeys",
    "PhysicalTransport",
    "Plain",
    "Server",
    "Service",
    "Snooper",
    "Transport",
    "TransportLostError",
    "TransportSink",
    "TransportSource",
    "att",
    "core",
    "encrypt_block",
    "find_types_first",
    "hci",
    "ll",
    "load_libusb",
    "open_transport",
    "smp",
    "stop_formatting",
]  # fmt: skip


# Packets that say the same as an object and as octets: between a host and a controller in one process they go as they are.
# Of others parsing makes something else (the type of an address, a number of what was an enum).
Plain: TypeAlias = hci.HCI_AclDataPacket | hci.HCI_Number_Of_Completed_Packets_Event
PLAIN = (hci.HCI_AclDataPacket, hci.HCI_Number_Of_Completed_Packets_Event)


class Host(BumbleHost):
    """bumble's host, with a name for the one way that every command takes, and a short one for data."""

    def on_packet(self, packet: bytes | Plain) -> None:
        if isinstance(packet, bytes):
            super().on_packet(packet)
        elif self.ready:
            self.on_plain(packet)

    def on_plain(self, packet: Plain) -> None:
        """From a controller in this process: as bumble's `on_hci_packet`."""
        if self.snooper:
            self.snooper.snoop(bytes(packet), Snooper.Direction.CONTROLLER_TO_HOST)
        if isinstance(packet, hci.HCI_AclDataPacket):
            self.on_hci_acl_data_packet(packet)
        else:
            self.on_hci_number_of_completed_packets_event(packet)

    def on_l2cap_pdu(self, connection: Any, cid: int, pdu: bytes) -> None:
        """As bumble's, which asks for every frame whether who hears it gives back something to wait for."""
        for hear in self.listeners("l2cap_pdu"):
            hear(connection.handle, cid, pdu)

    def send_hci_packet(self, packet: hci.HCI_Packet) -> None:
        if not (isinstance(packet, hci.HCI_AclDataPacket) and isinstance(self.hci_sink, Controller)):
            super().send_hci_packet(packet)
            return
        if self.snooper:
            self.snooper.snoop(bytes(packet), Snooper.Direction.HOST_TO_CONTROLLER)
        self.hci_sink.on_data(packet)

    async def send_and_wait(self, command: Any, response_timeout: float | None = None) -> Any:
        """Send a command when the one before is answered; its answer."""
        return await super()._send_command(command, response_timeout)

    async def _send_command(self, command: Any, response_timeout: float | None = None) -> Any:
        return await self.send_and_wait(command, response_timeout)


class Controller(BumbleController):
    """bumble's controller, with a name for the answer to a command that goes on, and one for data as they are."""

    def on_data(self, packet: hci.HCI_AclDataPacket) -> None:
        """From a host in this process."""
        self.on_hci_acl_data_packet(packet)

    def send_command_status(self, status: int, op_code: int) -> None:
        self._send_hci_command_status(status, op_code)


async def open_transport(name: str) -> Transport:
    """A controller that is attached to this machine; its libraries are loaded for this."""
    from bumble.transport import open_transport

    return await open_transport(name)


def load_libusb() -> None:
    """Make libusb known to usb1, from the package that brings it where there is one."""
    from bumble.transport.usb import load_libusb

    load_libusb()  # type: ignore[no-untyped-call]


def find_types_first() -> None:
    """bumble looks for each UUID that it parses in a list, from its beginning: the types of declarations to the front,
    which every discovery asks for."""
    types = {each.to_bytes(2, "little") for each in (0x2800, 0x2801, 0x2802, 0x2803, 0x2902)}
    UUID.UUIDS.sort(key=lambda uuid: uuid.uuid_bytes not in types)


def stop_formatting() -> None:
    """Make what bumble logs cheap to make: the colours of its modules, the texts of its packets."""
    for name, module in list(sys.modules.items()):
        if name.startswith("bumble.") and hasattr(module, "color"):
            module.color = _plain  # type: ignore[attr-defined]
    for root in (hci.HCI_Packet, att.ATT_PDU, smp.SMP_Command):
        for packet in _with_subclasses(root):
            if "__str__" in packet.__dict__:
                packet.__str__ = _type_name


def _plain(text: str, *_: Any, **__: Any) -> str:
    return text


def _type_name(packet: Any) -> str:
    return type(packet).__name__


def _with_subclasses(root: Any) -> Iterator[Any]:
    yield root
    for child in root.__subclasses__():
        yield from _with_subclasses(child)
