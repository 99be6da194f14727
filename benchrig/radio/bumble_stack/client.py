"""A client for bleak: `BleakClient(device, backend=BumbleClient, stack=stack)`."""

from __future__ import annotations

import asyncio
import contextlib
import functools
from collections.abc import Callable, Coroutine, Iterator
from typing import TYPE_CHECKING, Any, TypeVar, cast

from bleak import BleakScanner
from bleak.assigned_numbers import gatt_char_props_to_strs
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakDeviceNotFoundError, BleakError

from benchrig.radio.bleak_api import OwnBackend
from benchrig.radio.bumble_stack import procedures, ways
from benchrig.radio.bumble_stack.bumble_api import att, hci
from benchrig.radio.bumble_stack.faults import TooLong
from benchrig.radio.bumble_stack.link import ClientLink
from benchrig.radio.bumble_stack.pairing import ClientSecurity, Nobody
from benchrig.radio.bumble_stack.procedures import FoundCharacteristic, FoundService
from benchrig.radio.bumble_stack.raw import RawChannels
from benchrig.radio.bumble_stack.scanner import BumbleScanner, Peer
from benchrig.radio.bumble_stack.stack import HostStack, translated
from benchrig.radio.security import NONE, Wish

if TYPE_CHECKING:
    from bleak.args import SizedBuffer
    from bleak.args.bluez import BlueZClientArgs, BlueZNotifyArgs
    from bleak.args.corebluetooth import CBStartNotifyArgs
    from bleak.args.winrt import WinRTClientArgs

    from benchrig.radio.bumble_stack.bumble_api import Client, Connection

T = TypeVar("T")

DEFAULT_MTU, MTU = 23, 517


class BumbleClient(OwnBackend):
    """A connection as bleak's own backends give it, with what only the link layer knows beside it (see OwnBackend):

    address_type                  'public' or 'random' as advertised, '' before anything was heard
    connection_interval           seconds; `supervision_timeout` too; `latency` in events; None when not connected
    phy                           (tx, rx) as hci.Phy; None when not connected
    """

    def __init__(
        self,
        address_or_ble_device: BLEDevice | str,
        services: set[str] | None = None,
        *,
        disconnected_callback: Callable[[], None] | None,
        timeout: float,
        bluez: BlueZClientArgs,
        winrt: WinRTClientArgs,
        stack: HostStack,
        stranger: bool = False,
    ) -> None:
        super().__init__(address_or_ble_device, disconnected_callback=disconnected_callback, timeout=timeout)
        self._stack = stack
        self._stranger = stranger
        self._requested = services
        self._peer: Peer | None = None
        self._name: str | None = None
        self._link: ClientLink | None = None
        self.connected_at = self.discovered_at = None
        self.disconnect_reason: hci.HCI_ErrorCode | None = None
        self.fault = ""
        self.unasked = {}
        self.wants_security = self.was_unanswered = False
        if isinstance(address_or_ble_device, BLEDevice):
            self._heard(address_or_ble_device)

    def _heard(self, device: BLEDevice) -> None:
        if not isinstance(device.details, Peer) or device.details.stack is not self._stack:
            raise BleakError(f"{device.address} was heard by another radio")
        self._peer, self._name = device.details, device.name

    @property
    def name(self) -> str:
        return self._name or self.address.replace(":", "-")

    @property
    def mtu_size(self) -> int:
        return self._link.connection.att_mtu if self._link else DEFAULT_MTU

    @property
    def is_connected(self) -> bool:
        return self._link is not None and self._link.is_up

    @property
    def address_type(self) -> str:
        return self._peer.address_type if self._peer else ""

    @property
    def connection_interval(self) -> float | None:
        return self._link.connection.parameters.connection_interval / 1000 if self._link else None

    @property
    def supervision_timeout(self) -> float | None:
        return self._link.connection.parameters.supervision_timeout / 1000 if self._link else None

    @property
    def latency(self) -> int | None:
        return self._link.connection.parameters.peripheral_latency if self._link else None

    @property
    def phy(self) -> tuple[hci.Phy, hci.Phy] | None:
        return self._link.phy if self._link else None

    async def read_rssi(self) -> int:
        """The signal strength of the connection in dBm."""
        link = self._require_link()
        with translated():
            return int(await link.connection.get_rssi())  # type: ignore[no-untyped-call]

    async def connect(self, pair: bool, **kwargs: Any) -> None:
        """Find the device when only its address is known, connect, exchange the MTU, read the table. Raises
        TimeoutError, BleakDeviceNotFoundError, BleakError; no link is left behind then."""
        if self._link is not None and self._link.is_up:
            raise BleakError("Client is already connected")
        timeout = kwargs.get("timeout", self.within)
        if self._peer is None:
            await self._find(timeout)
        async with contextlib.AsyncExitStack() as turn:
            # a controller makes one connection at a time: the time of another one is not this one's
            await turn.enter_async_context(self._stack.connecting)
            async with asyncio.timeout(timeout):
                await self._connect(cast(Peer, self._peer), turn)
                await self._set_up(pair)

    async def _find(self, within: float) -> None:
        options: Any = {"backend": BumbleScanner, "stack": self._stack}
        device = await BleakScanner.find_device_by_address(self.address, timeout=within, **options)
        if device is None:
            raise BleakDeviceNotFoundError(self.address, f"Device with address {self.address} was not found.")
        self._heard(device)

    async def _connect(self, peer: Peer, turn: contextlib.AsyncExitStack) -> None:
        if self._link is not None:
            await asyncio.shield(self._link.gone)
        connect = self._stack.connect_as_stranger if self._stranger else self._stack.connect
        connection = await connect(peer.address)
        await turn.aclose()
        self._link = link = ClientLink(self._stack, connection)
        self.connected_at = asyncio.get_running_loop().time()
        self.discovered_at = self.disconnect_reason = None
        self.fault, self.unasked = "", link.unasked.counts
        link.gone.add_done_callback(functools.partial(self._on_gone, link))
        self._note_security(connection)

    def _note_security(self, connection: Connection) -> None:
        """A Security Request (Core Vol 3 Part H 2.4.6) is not obeyed: what pairs is a step."""
        self.wants_security = False

        def requested(_: int) -> None:
            self.wants_security = not connection.is_encrypted

        def encrypted() -> None:
            self.wants_security = False

        connection.on(connection.EVENT_SECURITY_REQUEST, requested)
        connection.on(connection.EVENT_CONNECTION_ENCRYPTION_CHANGE, encrypted)

    async def _set_up(self, pair: bool) -> None:
        link = self._require_link()
        try:
            if pair:
                await self.pair()
            await self._procedure(_exchange_mtu(link.client))
            found = await self._procedure(procedures.discover(link.client))
            self.services = self._collection(found)
            self.discovered_at = asyncio.get_running_loop().time()
        except BaseException:
            await link.close()
            raise

    def _collection(self, found: list[FoundService]) -> BleakGATTServiceCollection:
        collection = BleakGATTServiceCollection()
        for service in found:
            if self._requested and service.uuid not in self._requested:
                continue
            bleak_service = BleakGATTService(service, service.handle, service.uuid)
            collection.add_service(bleak_service)
            for char in service.characteristics:
                properties = list(gatt_char_props_to_strs(char.properties))
                bleak_char = BleakGATTCharacteristic(
                    char, char.handle, char.uuid, properties, lambda: self.mtu_size - 3, bleak_service
                )
                collection.add_characteristic(bleak_char)
                for descriptor in char.descriptors:
                    collection.add_descriptor(
                        BleakGATTDescriptor(descriptor, descriptor.handle, descriptor.uuid, bleak_char)
                    )
        return collection

    def _on_gone(self, link: ClientLink, gone: asyncio.Future[hci.HCI_ErrorCode]) -> None:
        if self._link is link:
            self._link = None
            self.services = None
            self.disconnect_reason, self.fault = gone.result(), link.fault
            self.was_unanswered = gone.result() == hci.HCI_ErrorCode.CONNECTION_FAILED_TO_BE_ESTABLISHED_ERROR
            self.tell_disconnected()

    async def disconnect(self) -> None:
        if self._link is not None:
            await self._link.close()

    def _require_link(self) -> ClientLink:
        if self._link is None or not self._link.is_up:
            raise BleakError("Not connected")
        return self._link

    async def _procedure(self, work: Coroutine[Any, Any, T]) -> T:
        """Run one ATT procedure on the link that is up."""
        try:
            link = self._require_link()
        except BleakError:
            work.close()
            raise
        return await link.run(work)

    def security(self, name: str) -> ClientSecurity:
        return ClientSecurity(self._stack, self._require_link(), name)

    async def pair(self, *args: Any, **kwargs: Any) -> None:
        """Pair as a bench without input and output; a link to a bonded device is encrypted instead."""
        security = self.security(self.name)
        ended = await (security.encrypt() if security.is_bonded else security.pair(Wish(), Nobody()))
        if ended.failure != NONE:
            raise BleakError(f"pairing failed: {ended.failure}")

    async def unpair(self) -> None:
        """Forget the keys, and disconnect."""
        await self.security(self.name).forget()
        await self.disconnect()

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        """Read from the device; nothing is cached here, so `use_cached` changes nothing."""
        return await self._read(characteristic.handle)

    async def read_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        return await self._read(descriptor.handle)

    async def _read(self, handle: int) -> bytearray:
        return bytearray(await self._procedure(procedures.read(self._require_link().client, handle)))

    async def outline(self, *, values: bool = True) -> list[tuple[int, str, bytes | None]]:
        """The server's own table, see procedures.outline."""
        return await self._procedure(procedures.outline(self._require_link().client, values=values))

    async def write_gatt_char(self, characteristic: BleakGATTCharacteristic, data: SizedBuffer, response: bool) -> None:
        """Raises TooLong for data that one write without response does not hold."""
        client, value = self._require_link().client, bytes(data)
        if response:
            await self._procedure(procedures.write(client, characteristic.handle, value))
        elif len(value) > client.mtu - 3:
            raise TooLong(f"{len(value)} bytes in a write without response; this link carries {client.mtu - 3}")
        else:
            await self._procedure(procedures.write_without_response(client, characteristic.handle, value))
            if self._link is not None and self._link.is_full:
                await self._procedure(self._link.has_room())

    async def ask(self, way: str, handle: int, uuid: str, data: bytes) -> None:
        await self._procedure(ways.WAYS[way](self._require_link().client, handle, uuid, data))

    async def flush(self) -> None:
        await self._procedure(self._require_link().flushed())

    @contextlib.contextmanager
    def raw(self) -> Iterator[RawChannels]:
        channels = RawChannels(self._stack.host, self._require_link())
        try:
            yield channels
        finally:
            channels.close()

    async def write_gatt_descriptor(self, descriptor: BleakGATTDescriptor, data: SizedBuffer) -> None:
        """Any descriptor, a client characteristic configuration too."""
        link, value = self._require_link(), bytes(data)
        if descriptor.uuid == procedures.CCCD:
            link.unasked.configured(descriptor.characteristic_handle, value)
        await self._procedure(procedures.write(link.client, descriptor.handle, value))

    async def start_notify(  # type: ignore[override]  # every keyword by name: a new one in bleak must show
        self,
        characteristic: BleakGATTCharacteristic,
        callback: NotifyCallback,
        *,
        bluez: BlueZNotifyArgs | None = None,
        cb: CBStartNotifyArgs | None = None,
        force_indicate: bool = False,
    ) -> None:
        """Notifications where the characteristic has them, else indications; `force_indicate` asks for these."""
        found = cast(FoundCharacteristic, characteristic.obj)
        deliver = functools.partial(_deliver, callback)
        link = self._require_link()
        await self._procedure(procedures.subscribe(link.client, found, deliver, link.unasked, indicate=force_indicate))

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        found = cast(FoundCharacteristic, characteristic.obj)
        link = self._require_link()
        await self._procedure(procedures.unsubscribe(link.client, found, link.unasked))


async def _exchange_mtu(client: Client) -> None:
    """Ask for the largest useful MTU; a device that knows no such request keeps the default one."""
    try:
        await client.request_mtu(MTU)
    except att.ATT_Error as error:
        if error.error_code != att.ATT_REQUEST_NOT_SUPPORTED_ERROR:
            raise


def _deliver(callback: NotifyCallback, value: bytes) -> None:
    """Hand a value to the caller. A fault of the callback is not one of the device: it goes to the loop's handler."""
    try:
        callback(bytearray(value))
    except Exception as exc:
        loop = asyncio.get_running_loop()
        loop.call_exception_handler({"message": "a notification callback failed", "exception": exc})
