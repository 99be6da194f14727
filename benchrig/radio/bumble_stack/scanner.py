"""A scanner for bleak: `BleakScanner(callback, backend=BumbleScanner, stack=stack)`."""

from __future__ import annotations

import asyncio
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from bleak.backends.scanner import AdvertisementData, AdvertisementDataCallback, BaseBleakScanner

from benchrig.radio.bleak_api import OwnDetails, RawAdvertisement
from benchrig.radio.bumble_stack.advertising import parse
from benchrig.radio.bumble_stack.bumble_api import hci
from benchrig.radio.bumble_stack.reports import HeardPdu
from benchrig.values.address import address_text

if TYPE_CHECKING:
    from bleak.args.bluez import BlueZScannerArgs
    from bleak.args.corebluetooth import CBScannerArgs
    from bleak.backends.device import BLEDevice

    from benchrig.radio.bumble_stack.stack import HostStack
LONGEST_DATA = 1650  # octets of one extended advertisement (Core Vol 4 Part E 7.8.57)
# How long an event waits for its scan response, which follows within 1 ms on air (Core Vol 6 Part B 4.4.2.3) and 4 ms
# later on a line of 115,200 baud. A scanner that backs off gets none (Core Vol 6 Part B 4.4.3.2).
RESPONSE_WITHIN = 0.010
# Addresses that change all the time must not fill the memory.
MOST_DEVICES, MOST_WAITING, MOST_PAST, MOST_FRAGMENTS = 4096, 1024, 1024, 64


@dataclass(frozen=True)
class Peer(OwnDetails):
    """`BLEDevice.details`: where a device was heard."""

    stack: HostStack
    address: hci.Address


class _Event(NamedTuple):
    """An advertising event that may have a scan response: what was heard of it, and when."""

    pdu: HeardPdu
    data: bytes
    at: float


class BumbleScanner(BaseBleakScanner):
    """Reports one advertising event once: with its scan response when the scan is active and it comes in time. A later
    one makes a second report of the same event, which has the same time."""

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
        # the newest events by device, the oldest first: those that wait for a scan response, and those that have waited
        self._waiting: dict[bytes, _Event] = {}
        self._past: dict[bytes, _Event] = {}
        self._fragments: dict[bytes, bytes] = {}
        self._timer: asyncio.TimerHandle | None = None

    async def start(self) -> None:
        self.seen_devices = {}
        self._forget()
        await self._stack.add_scanner(self)

    async def stop(self) -> None:
        """What still waits for a scan response is reported without one."""
        try:
            await self._stack.remove_scanner(self)
        finally:
            self._report_due(math.inf)
            self._forget()

    def _forget(self) -> None:
        for kept in (self._waiting, self._past, self._fragments):
            kept.clear()
        if self._timer:
            self._timer.cancel()
            self._timer = None

    def on_pdu(self, pdu: HeardPdu) -> None:
        """Called by the stack for each report of the controller."""
        key = pdu.address + bytes((pdu.is_random,))
        data = (self._fragments.pop(key, b"") + pdu.data)[:LONGEST_DATA]
        if pdu.more:
            self._fragments[key] = data
            _keep(self._fragments, MOST_FRAGMENTS)
        elif pdu.scan_response:
            past = self._past.pop(key, None) if data else None
            if event := self._waiting.pop(key, past):
                self._report(event, data, cut=pdu.truncated)
        else:
            self._on_event(key, _Event(pdu, data, asyncio.get_running_loop().time()))

    def _on_event(self, key: bytes, event: _Event) -> None:
        self._past.pop(key, None)
        if before := self._waiting.pop(key, None):
            self._report(before)
        if event.pdu.scannable and self.active:
            self._waiting[key] = event
            if len(self._waiting) > MOST_WAITING:
                self._report_due(next(iter(self._waiting.values())).at + RESPONSE_WITHIN)
            self._wind()
        else:
            self._report(event)

    def _wind(self) -> None:
        """Wake when the oldest of those that wait has waited long enough."""
        if self._timer is None and self._waiting:
            due = next(iter(self._waiting.values())).at + RESPONSE_WITHIN
            self._timer = asyncio.get_running_loop().call_at(due, self._time_is_up, due)

    def _time_is_up(self, due: float) -> None:
        self._timer = None
        self._report_due(max(due, asyncio.get_running_loop().time()))
        self._wind()

    def _report_due(self, now: float) -> None:
        for key, event in list(self._waiting.items()):
            if event.at + RESPONSE_WITHIN > now:
                break
            self._past[key] = self._waiting.pop(key)
            _keep(self._past, MOST_PAST)
            self._report(event)

    def _report(self, event: _Event, scan_response: bytes = b"", *, cut: bool = False) -> None:
        """`cut` when the controller kept only a part of the scan response."""
        pdu, said = event.pdu, parse(event.data, scan_response)
        if not self.is_allowed_uuid(said.services):
            return
        raw = RawAdvertisement(
            None if pdu.truncated else event.data,
            b"" if cut else scan_response,
            pdu.connectable,
            event.at,
            name_is_short=said.name is not None and not said.name_is_complete,
            identity=self._stack.security.identities.of(_text(pdu), is_random=pdu.is_random),
            directed=pdu.directed,
        )
        advertisement = AdvertisementData(
            local_name=said.name,
            manufacturer_data=said.manufacturer_data,
            service_data=said.service_data,
            service_uuids=said.services,
            tx_power=said.tx_power,
            rssi=pdu.rssi,
            platform_data=(raw,),
        )
        self._tell(self._device(pdu, said.name, advertisement), advertisement)

    def _device(self, pdu: HeardPdu, name: str | None, advertisement: AdvertisementData) -> BLEDevice:
        """Public and random addresses of the same octets are two devices."""
        address = _text(pdu)
        kind = "random" if pdu.is_random else "public"
        key = f"{address} ({kind})"
        # bleak keeps the details that it has
        peer = None if key in self.seen_devices else Peer(kind, self._stack, _on_air(pdu))
        device = self.create_or_update_device(key, address, name, peer, advertisement)
        _keep(self.seen_devices, MOST_DEVICES)
        return device

    def _tell(self, device: BLEDevice, advertisement: AdvertisementData) -> None:
        """A fault of the callback is not one of the stack: it goes to the loop's handler."""
        try:
            self.call_detection_callbacks(device, advertisement)
        except Exception as exc:
            loop = asyncio.get_running_loop()
            loop.call_exception_handler({"message": "a detection callback failed", "exception": exc})


def _text(pdu: HeardPdu) -> str:
    return address_text(pdu.address)


def _on_air(pdu: HeardPdu) -> hci.Address:
    kind = hci.Address.RANDOM_DEVICE_ADDRESS if pdu.is_random else hci.Address.PUBLIC_DEVICE_ADDRESS
    return hci.Address(pdu.address, kind)


def _keep(kept: dict[Any, Any], most: int) -> None:
    """Let the oldest go when there are too many."""
    if len(kept) > most:
        del kept[next(iter(kept))]
