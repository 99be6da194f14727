"""One bumble host on one controller, shared by scanners and clients."""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from bleak.exc import BleakBluetoothNotAvailableError, BleakBluetoothNotAvailableReason, BleakError

from benchrig.errors import InternalError
from benchrig.radio.bumble_stack.bumble_api import (
    Connection,
    ConnectionParametersPreferences,
    Device,
    DeviceConfiguration,
    core,
    hci,
)
from benchrig.radio.bumble_stack.host import MALFORMED, StackHost
from benchrig.radio.bumble_stack.manager import SecurityManager
from benchrig.radio.bumble_stack.quiet import quiet_bumble
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from collections.abc import Callable

    from benchrig.radio.bonds import Bonds
    from benchrig.radio.bumble_stack.bumble_api import Snooper, TransportSink, TransportSource
    from benchrig.radio.bumble_stack.reports import HeardPdu

T = TypeVar("T")

# Time for a controller to answer its reset and set-up, and to confirm a disconnection or a cancelled connect.
START_WITHIN = 10.0
RESET_WITHIN = 2.0
SETTLE_WITHIN = 5.0
# The station's, whichever controller is plugged in: a unit knows who it has bonded with by it.
OWN_ADDRESS = hci.OwnAddressType.RANDOM


class Hears(Protocol):
    """A scanner, as the stack sees it."""

    @property
    def active(self) -> bool: ...

    def on_pdu(self, pdu: HeardPdu) -> None: ...


class HostStack:
    """The central of the bench. Make it with `open`, end it with `close`."""

    def __init__(self, host: StackHost, device: Device, bonds: Bonds) -> None:
        self.host = host
        self.device = device
        self.bonds = bonds
        self.connecting = asyncio.Lock()
        self._scanners: dict[Hears, None] = {}
        self._scan_lock = asyncio.Lock()
        self._active = False
        self.tasks = Tasks()
        radio = "hci" if host.foreign else "virtual"
        self.security = SecurityManager(device, bonds, radio=radio)
        host.on_pdu = self._on_pdu
        host.on(MALFORMED, self._on_malformed)

    @classmethod
    async def open(
        cls,
        source: TransportSource,
        sink: TransportSink,
        *,
        bonds: Bonds,
        snooper: Snooper | None = None,
        foreign: bool = False,
        on_host: Callable[[StackHost], None] | None = None,
    ) -> HostStack:
        """Reset the controller behind `source` and `sink` and take it over. `foreign` says that it is not this
        program's own; `on_host` is told of the host before anything is sent; `bonds` say who the bench is too. Raises BleakBluetoothNotAvailableError."""
        quiet_bumble()
        host = StackHost(source, sink, foreign=foreign)
        if on_host:
            on_host(host)
        host.snooper = snooper
        config = DeviceConfiguration(
            name="benchrig",
            address=hci.Address(bonds.identity.address),
            irk=bytes(bonds.identity.irk),
            gap_service_enabled=False,
            gatt_service_enabled=False,
        )
        device = Device(config=config, host=host)
        try:
            async with asyncio.timeout(START_WITHIN):
                await host.ask(hci.HCI_Reset_Command(), RESET_WITHIN)
                await device.power_on()
        except (TimeoutError, hci.HCI_Error, core.BaseBumbleError) as exc:
            why = host.lost or f"the controller does not start: {reason_of(exc)}"
            raise _unavailable(why) from exc
        return cls(host, device, bonds)

    async def close(self) -> None:
        """Disconnect, power off, and wait for what is still running. Raises InternalError when the receive path of
        this stack had failed."""
        for connection in list(self.device.connections.values()):
            await self.disconnect(connection)
        with contextlib.suppress(core.BaseBumbleError, hci.HCI_Error, TimeoutError):
            if not self.lost:
                async with asyncio.timeout(SETTLE_WITHIN):
                    await self.device.power_off()
        await self.tasks.close()
        if (broken := self.broken) is not None:
            raise broken from self.host.errors[0]

    @property
    def broken(self) -> InternalError | None:
        """What failed on the receive path of this stack, if anything did."""
        errors = self.host.errors
        return InternalError(f"the Bluetooth stack failed on a packet: {errors[0]!r}") if errors else None

    @property
    def address_text(self) -> str:
        """That of the bench on the air and its type: 'F0:F1:F2:F3:F4:F0 (random)'."""
        return f"{self.device.random_address.to_string(False)} (random)"

    @property
    def controller_address(self) -> str:
        """The controller's own, '' where it has none."""
        address = self.device.public_address
        return f"{address.to_string(False)} (public)" if bytes(address) != bytes(6) else ""

    @property
    def lost(self) -> str:
        """Why the controller cannot be used any more; '' while it can."""
        return self.host.lost

    async def answers(self, within: float) -> bool:
        """Whether the controller still answers; one that does not is lost."""
        with contextlib.suppress(core.BaseBumbleError, hci.HCI_Error):
            await self.host.ask(hci.HCI_Read_BD_ADDR_Command(), within)
        return not self.lost

    def check(self) -> None:
        """Raises BleakBluetoothNotAvailableError when the controller is gone."""
        if self.lost:
            raise _unavailable(self.lost)

    def _on_malformed(self, handle: int, exc: Exception) -> None:
        if connection := self.device.lookup_connection(handle):
            connection.emit(MALFORMED, exc)
            self.tasks.leave(self.disconnect(connection))

    async def add_scanner(self, scanner: Hears) -> None:
        async with self._scan_lock:
            self.check()
            self.security.identities.refresh()
            self._scanners[scanner] = None
            try:
                await self._scan()
            except BaseException:
                del self._scanners[scanner]
                raise

    async def remove_scanner(self, scanner: Hears) -> None:
        async with self._scan_lock:
            if self._scanners.pop(scanner, scanner) is None:
                self.check()  # what was not heard proves nothing
                await self._scan()

    async def _scan(self) -> None:
        """Make the controller's scan what the scanners ask for together; one active scanner makes it active."""
        active = any(scanner.active for scanner in self._scanners)
        with translated():
            if self.device.is_scanning and (not self._scanners or active != self._active):
                await self.device.stop_scanning()
            if self._scanners and not self.device.is_scanning:
                self._active = active
                await self.device.start_scanning(active=active, filter_duplicates=False, own_address_type=OWN_ADDRESS)

    def _on_pdu(self, pdu: HeardPdu) -> None:
        for scanner in list(self._scanners):
            scanner.on_pdu(pdu)

    async def connect_as_stranger(self, peer: hci.Address) -> Connection:
        """Connect under an address that no device has seen, which a controller changes only while it does nothing else."""
        async with self._scan_lock:
            if self._scanners:
                raise BleakError("a stranger has another address, which cannot be changed during a scan")
            own = self.device.random_address
            await self._become(hci.Address.generate_static_address())
            try:
                return await self.connect(peer)
            finally:
                await self._become(own)

    async def _become(self, address: hci.Address) -> None:
        self.device.random_address = address
        with translated():
            await self.device.send_sync_command(hci.HCI_LE_Set_Random_Address_Command(random_address=address))

    async def connect(
        self, peer: hci.Address, preferences: ConnectionParametersPreferences | None = None
    ) -> Connection:
        """Connect to a device that advertises; the caller holds `connecting`. Waits for ever; a cancelled call leaves no
        pending connect behind."""
        phys = None if preferences is None else {hci.Phy.LE_1M: preferences}
        self.check()
        self.security.identities.refresh()
        task = self.tasks.start(self.device.connect_le(peer, phys, OWN_ADDRESS, timeout=None))
        try:
            either: list[asyncio.Future[Any]] = [task, self.host.gone]
            await asyncio.wait(either, return_when=asyncio.FIRST_COMPLETED)
        except asyncio.CancelledError:
            await self._cancel_connect(task)
            raise
        if self.lost:
            self.tasks.drop(task)
            await asyncio.wait([task])
            self.check()
        try:
            return task.result()
        except (core.BaseBumbleError, hci.HCI_Error) as exc:
            raise BleakError(f"connection refused: {reason_of(exc)}") from exc

    async def _cancel_connect(self, task: asyncio.Task[Connection]) -> None:
        """Cancel in the controller and wait for its word: a connect forgotten here would complete later on its own."""
        with contextlib.suppress(core.BaseBumbleError, hci.HCI_Error, TimeoutError):
            async with asyncio.timeout(SETTLE_WITHIN):
                await self.device.send_sync_command(hci.HCI_LE_Create_Connection_Cancel_Command())
        await asyncio.wait([task], timeout=SETTLE_WITHIN)
        if not task.done():
            self.tasks.drop(task)
        elif not task.cancelled() and task.exception() is None:
            await self.disconnect(task.result())

    async def disconnect(self, connection: Connection) -> None:
        """End a link; gives up waiting for the controller's word after a while. Never raises."""
        if self.device.lookup_connection(connection.handle) is not connection:
            return
        with contextlib.suppress(core.BaseBumbleError, hci.HCI_Error, TimeoutError):
            async with asyncio.timeout(SETTLE_WITHIN):
                await connection.disconnect()


def _unavailable(message: str) -> BleakBluetoothNotAvailableError:
    return BleakBluetoothNotAvailableError(message, BleakBluetoothNotAvailableReason.UNKNOWN)


@contextlib.contextmanager
def translated() -> Any:
    """bumble's errors as bleak's."""
    try:
        yield
    except (core.CommandTimeoutError, core.BaseBumbleError, hci.HCI_Error) as exc:
        raise BleakError(reason_of(exc)) from exc


def reason_of(exc: BaseException) -> str:
    """What a bumble error says, in words; its class where it says nothing."""
    return (str(exc) or type(exc).__name__).removesuffix("_ERROR").replace("_", " ").lower()
