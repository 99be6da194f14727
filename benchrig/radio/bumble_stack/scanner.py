"""A scanner for bleak: `BleakScanner(callback, backend=BumbleScanner, stack=stack)`."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from bleak.backends.scanner import AdvertisementData, AdvertisementDataCallback, BaseBleakScanner
from bumble import hci

from benchrig.radio.bumble_stack.advertising import parse
from benchrig.radio.bumble_stack.reports import HeardPdu

if TYPE_CHECKING:
    from bleak.args.bluez import BlueZScannerArgs
    from bleak.args.corebluetooth import CBScannerArgs

    from benchrig.radio.bumble_stack.stack import HostStack

LONGEST_DATA = 1650  # octets of one extended advertisement (Core Vol 4 Part E 7.8.57)


class RawAdvertisement(NamedTuple):
    """The first of `AdvertisementData.platform_data`: what came over the air, and when (loop time)."""

    data: bytes
    scan_response: bytes
    connectable: bool
    at: float


@dataclass(frozen=True)
class Peer:
    """`BLEDevice.details`: where a device was heard. `address_type` is 'public' or 'random'."""

    stack: HostStack
    address: hci.Address
    address_type: str


class _Pending(NamedTuple):
    """An advertising PDU that a scan response is due to, and parts of data that come in several reports."""

    pdu: HeardPdu
    data: bytes
    at: float


class BumbleScanner(BaseBleakScanner):
    """Reports one advertising event once: with its scan response when the scan is active and it comes."""

    def __init__(
        self,
        detection_callback: AdvertisementDataCallback | None,
        service_uuids: list[str] | None,
        scanning_mode: Literal["active", "passive"],
        *,
        bluez: BlueZScannerArgs,
        cb: CBScannerArgs,
        stack: HostStack,
    ) -> None:
        super().__init__(detection_callback, service_uuids)
        self.active = scanning_mode == "active"
        self._stack = stack
        self._pending: dict[bytes, _Pending] = {}
        self._fragments: dict[bytes, bytes] = {}

    async def start(self) -> None:
        self.seen_devices = {}
        self._pending.clear()
        self._fragments.clear()
        await self._stack.add_scanner(self)

    async def stop(self) -> None:
        await self._stack.remove_scanner(self)
        self._pending.clear()

    def on_pdu(self, pdu: HeardPdu) -> None:
        """Called by the stack for each report of the controller."""
        key = pdu.address + bytes((pdu.is_random,))
        data = (self._fragments.pop(key, b"") + pdu.data)[:LONGEST_DATA]
        if pdu.more:
            self._fragments[key] = data
            return
        waiting = self._pending.pop(key, None)
        if pdu.scan_response:
            if waiting:
                self._report(waiting, data)
            return
        if waiting:
            self._report(waiting, b"")
        heard = _Pending(pdu, data, asyncio.get_running_loop().time())
        if pdu.scannable and self.active:
            self._pending[key] = heard
        else:
            self._report(heard, b"")

    def _report(self, heard: _Pending, scan_response: bytes) -> None:
        pdu = heard.pdu
        said = parse(heard.data, scan_response)
        if not self.is_allowed_uuid(said.services):
            return
        advertisement = AdvertisementData(
            local_name=said.name,
            manufacturer_data=said.manufacturer_data,
            service_data=said.service_data,
            service_uuids=said.services,
            tx_power=said.tx_power,
            rssi=pdu.rssi,
            platform_data=(RawAdvertisement(heard.data, scan_response, pdu.connectable, heard.at),),
        )
        address = ":".join(f"{octet:02X}" for octet in reversed(pdu.address))
        device = self.create_or_update_device(address, address, said.name, self._peer(address, pdu), advertisement)
        self.call_detection_callbacks(device, advertisement)

    def _peer(self, address: str, pdu: HeardPdu) -> Peer | None:
        if address in self.seen_devices:
            return None  # bleak keeps the details it has
        kind = hci.Address.RANDOM_DEVICE_ADDRESS if pdu.is_random else hci.Address.PUBLIC_DEVICE_ADDRESS
        return Peer(self._stack, hci.Address(pdu.address, kind), "random" if pdu.is_random else "public")
