"""Windows and macOS, which no test machine here has: stand-ins with bleak's exact signatures raise what its backends
for these systems raise. Texts and classes from the source of bleak 3.1.0 (backends/winrt, backends/corebluetooth).

What this shows is that benchrig understands those errors; that the systems behave so, it does not show.
"""

from __future__ import annotations

import ast
import asyncio
import dataclasses
import inspect
from pathlib import Path
from typing import Any

import bleak
import pytest
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)

from benchrig.errors import BenchrigError
from benchrig.radio.link import Link
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Report, Sighting

Reason = BleakBluetoothNotAvailableReason
BACKENDS = Path(bleak.__file__).parent / "backends"
NAME = "00002a00-0000-1000-8000-00805f9b34fb"


class Scanner(BaseBleakScanner):
    """Raises `fails` when it is started; else hears one device."""

    def __init__(
        self, detection_callback: Any, service_uuids: Any, scanning_mode: Any, *, fails: Any = None, **kwargs: Any
    ):
        super().__init__(detection_callback, service_uuids)
        self.fails = fails

    async def start(self) -> None:
        self.seen_devices = {}
        if self.fails is not None:
            raise self.fails

    async def stop(self) -> None:
        pass


class Client(BaseBleakClient):
    """`fails` names what each method raises; after `lose` the link is gone, as a system tells it."""

    def __init__(
        self,
        address_or_ble_device: Any,
        services: Any = None,
        *,
        fails: dict[str, Exception] | None = None,
        **kwargs: Any,
    ):
        super().__init__(address_or_ble_device, **kwargs)
        self.fails = fails or {}
        self.up = False

    def attempt(self, what: str) -> None:
        if what in self.fails:
            raise self.fails[what]

    @property
    def name(self) -> str:
        return "unit"

    @property
    def mtu_size(self) -> int:
        return 247

    @property
    def is_connected(self) -> bool:
        return self.up

    async def connect(self, pair: bool, **kwargs: Any) -> None:
        self.attempt("connect")
        self.up = True
        self.services = BleakGATTServiceCollection()
        service = BleakGATTService(None, 1, "00001800-0000-1000-8000-00805f9b34fb")
        self.services.add_service(service)
        properties: Any = ["read", "write", "notify"]
        self.services.add_characteristic(BleakGATTCharacteristic(None, 2, NAME, properties, lambda: 244, service))

    async def disconnect(self) -> None:
        self.attempt("disconnect")
        self.lose()

    def lose(self) -> None:
        self.up, self.services = False, None
        if self._disconnected_callback:
            self._disconnected_callback()

    async def pair(self, *args: Any, **kwargs: Any) -> None:
        self.attempt("pair")

    async def unpair(self) -> None:
        self.attempt("unpair")

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        self.attempt("read")
        return bytearray(b"unit")

    async def read_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        return bytearray()

    async def write_gatt_char(self, characteristic: BleakGATTCharacteristic, data: Any, response: bool) -> None:
        self.attempt("write")

    async def write_gatt_descriptor(self, descriptor: BleakGATTDescriptor, data: Any) -> None:
        pass

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **kwargs: Any
    ) -> None:
        self.attempt("notify")

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        pass


SHARED = [
    *("connect", "disconnect", "pair", "unpair", "read_gatt_char", "read_gatt_descriptor"),
    *("write_gatt_char", "write_gatt_descriptor", "start_notify", "stop_notify"),
]


def shape(method: Any) -> list[tuple[str, Any]]:
    return [(p.name, p.kind) for p in inspect.signature(method).parameters.values()]


@pytest.mark.parametrize("name", SHARED)
def test_a_stand_in_has_the_signature_of_bleaks_base(name: str) -> None:
    assert shape(getattr(Client, name)) == shape(getattr(BaseBleakClient, name))


def arguments_in(source: Path, owner: str, name: str) -> list[str]:
    """Names of a method's arguments, from the source: these modules can be imported on their own system only."""
    tree = ast.parse(source.read_text(encoding="utf-8"))
    [cls] = [node for node in tree.body if isinstance(node, ast.ClassDef) and node.name == owner]
    [method] = [n for n in cls.body if isinstance(n, (ast.FunctionDef, ast.AsyncFunctionDef)) and n.name == name]
    given = method.args
    return [a.arg for a in [*given.posonlyargs, *given.args, *given.kwonlyargs] if a.arg != "self"]


@pytest.mark.parametrize(
    "name", ["connect", "disconnect", "read_gatt_char", "write_gatt_char", "start_notify", "stop_notify"]
)
@pytest.mark.parametrize(
    ("system", "owner"), [("winrt", "BleakClientWinRT"), ("corebluetooth", "BleakClientCoreBluetooth")]
)
def test_the_systems_backends_take_what_the_stand_in_takes(system: str, owner: str, name: str) -> None:
    own = [n for n in inspect.signature(getattr(Client, name)).parameters if n not in ("self", "kwargs")]
    theirs = arguments_in(BACKENDS / system / "client.py", owner, name)
    assert theirs[: len(own)] == own


def radio(*, scan: Exception | None = None, **fails: Exception) -> Radio:
    return Radio(
        "host",
        scanner_options={"backend": Scanner, "fails": scan},
        client_options={"backend": Client, "fails": fails},
    )


def sighting() -> Sighting:
    """A device as macOS gives it: its address is a UUID of the machine's own."""
    unit = Sighting("1B2C3D4E-0000-4000-8000-000000000001", name="unit")
    unit.device = BLEDevice(unit.address, "unit", None)
    return unit


async def failure_of(work: Any) -> BenchrigError:
    with pytest.raises(BenchrigError) as caught:
        await work
    return caught.value


async def scan(on: Radio, *, active: bool = True) -> None:
    def ignore(_: Report) -> None:
        pass

    async with on.scanning(ignore, active=active):
        pass


SCANS = [
    (BleakBluetoothNotAvailableError("No Bluetooth adapter found", Reason.NO_BLUETOOTH), "no Bluetooth adapter"),
    (BleakBluetoothNotAvailableError("Bluetooth radio is not powered on.", Reason.POWERED_OFF), "switched off"),
    (BleakBluetoothNotAvailableError("Bluetooth device is turned off", Reason.POWERED_OFF), "switched off"),
    (BleakBluetoothNotAvailableError("Bluetooth access is denied", Reason.DENIED_BY_USER), "refused this program"),
    (BleakError("Failed to start scanner. Is Bluetooth turned on?"), "Is Bluetooth turned on"),
    (BleakError("Unexpected watcher status: ABORTED"), "ABORTED"),
    (PermissionError(13, "Access is denied"), "Access is denied"),
]


@pytest.mark.parametrize(("raised", "says"), SCANS)
async def test_a_scan_that_does_not_start_is_the_stations_fault(raised: Exception, says: str) -> None:
    error = await failure_of(scan(radio(scan=raised)))
    assert (error.cause, says in error.message, bool(error.advice)) == ("station", True, True), error.message


async def test_a_system_that_does_not_scan_passively() -> None:
    error = await failure_of(scan(radio(scan=BleakError("macOS does not support passive scanning")), active=False))
    assert (error.cause, error.advice) == ("station", "leave out 'mode: passive'")


CONNECTS = [
    (TimeoutError(), "link", "no connection within the time allowed"),
    (BleakDeviceNotFoundError("1B2C", "Device with address 1B2C was not found."), "link", "no longer heard"),
    (BleakError("Could not get GATT services: Unreachable"), "link", "Unreachable"),
    (BleakError("Could not get GATT services: Access Denied"), "link", "Access Denied"),
    (BleakBluetoothNotAvailableError("Bluetooth device is turned off", Reason.POWERED_OFF), "station", "switched off"),
    (OSError(22, "The device is not ready for use"), "station", "not ready"),
]


@pytest.mark.parametrize(("raised", "cause", "says"), CONNECTS)
async def test_a_connection_that_fails(raised: Exception, cause: str, says: str) -> None:
    on = radio(connect=raised)
    error = await failure_of(on.connect(sighting(), 1.0))
    assert (error.cause, says in error.message) == (cause, True), error.message
    await on.close()
    assert len(asyncio.all_tasks()) == 1, "what went wrong has ended"


async def connected(**fails: Exception) -> tuple[Link, Client]:
    link = await radio(**fails).connect(sighting(), 1.0)
    backend: Any = link._client._backend
    return link, backend


READS = [
    (BleakGATTProtocolError(0x02), "device", "0x02 (read not permitted)"),
    (BleakError("Could not read characteristic handle 2: Access Denied"), "device", "Access Denied"),
    (BleakError("Could not read characteristic handle 2: Unreachable"), "link", "Unreachable"),
    (AssertionError(), "link", "not there any more"),
]


@pytest.mark.parametrize(("raised", "cause", "says"), READS)
async def test_a_read_that_fails(raised: Exception, cause: str, says: str) -> None:
    link, _ = await connected(read=raised)
    error = await failure_of(link.read(link.table.services[0].characteristics[0], "read name", 1.0))
    assert (error.cause, says in error.message) == (cause, True), error.message


async def test_after_a_lost_link_every_operation_says_so() -> None:
    """macOS: AssertionError or 'disconnected'; the flag decides, so neither is asked for."""
    link, client = await connected(read=AssertionError(), disconnect=AssertionError())
    characteristic = link.table.services[0].characteristics[0]
    client.lose()
    for work in (link.read(characteristic, "read", 1.0), link.write(characteristic, b"1", "write", 1.0)):
        error = await failure_of(work)
        assert (error.cause, "not there any more" in error.message) == ("link", True)
    await link.disconnect()
    await link.released()


async def test_a_system_that_does_not_pair() -> None:
    from benchrig.radio.foreign import translate

    error = translate(NotImplementedError("Pairing is not available in Core Bluetooth."), "pair")
    assert (error.cause, error.message) == ("station", "pair: this operating system does not offer it")


async def test_a_system_that_chooses_notifications_says_so_and_blames_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    link, _ = await connected()
    offered = link.table.services[0].characteristics[0]
    both = dataclasses.replace(offered, properties=("notify", "indicate"))
    error = await failure_of(link.subscribe(both, bytes, "listen", 1.0, indicate=True))
    assert (error.cause, "ask for notifications where a characteristic offers both" in error.message) == (
        "station",
        True,
    )
    monkeypatch.setattr("sys.platform", "win32")
    await link.subscribe(both, bytes, "listen", 1.0, indicate=True)
