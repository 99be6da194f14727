"""What the bench asks of BlueZ beside bleak: adapters, links that somebody left, devices to forget.

On Linux only; the messages go over dbus-fast, which bleak brings along. Names of objects and properties:
BlueZ doc/org.bluez.Adapter.rst and org.bluez.Device.rst.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from dbus_fast import BusType, DBusError, Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from benchrig.errors import StationError
from benchrig.radio.foreign import RESTART_SERVICE, START_BUS, START_SERVICE

SERVICE = "org.bluez"
SERVICE_OBJECT, CHARACTERISTIC = "org.bluez.GattService1", "org.bluez.GattCharacteristic1"
ADAPTER, DEVICE = "org.bluez.Adapter1", "org.bluez.Device1"
BUS = "org.freedesktop.DBus"
PROPERTIES = f"{BUS}.Properties"
_RULES = (
    f"type='signal',sender='{BUS}',interface='{BUS}',member='NameOwnerChanged',arg0='{SERVICE}'",
    f"type='signal',sender='{SERVICE}',interface='{BUS}.ObjectManager',member='InterfacesRemoved'",
    f"type='signal',sender='{SERVICE}',interface='{BUS}.Properties',member='PropertiesChanged',arg0='{ADAPTER}'",
)
# A healthy service answers in milliseconds.
ANSWER_WITHIN = 5.0
REMOVED_WITHIN = 15.0

Objects = Mapping[str, Mapping[str, Mapping[str, Any]]]


@dataclass(frozen=True)
class KnownDevice:
    """A device that BlueZ remembers. `name` is what it remembers it by, '' when it does not. Where `has_table` it has been
    connected: its name and its services are then those of the table, not those that it advertises. `address` is the identity
    of a device that has told it in a pairing; `path` keeps the first one. What is `kept` is not for a bench to remove, though
    it is not paired: trusted, or blocked, or of the older Bluetooth."""

    path: str
    address: str
    name: str
    connected: bool
    has_table: bool = False
    paired: bool = False
    kept: bool = False
    # None where this version of BlueZ does not tell
    bonded: bool | None = None
    is_random: bool = False
    # whether the table of the link that is there has been read
    resolved: bool = False

    @property
    def adapter(self) -> str:
        return self.path.split("/")[3]

    @property
    def addresses(self) -> frozenset[str]:
        """Its address, and that under which it was heard first."""
        return frozenset((self.address, address_in(self.path)))


def address_in(path: str) -> str:
    """The address that an object path has; of a device that has told its identity since, the one before."""
    return path.rpartition("/dev_")[2].replace("_", ":")


class Bluez:
    """A connection to the system bus, for one adapter. Make it with `open`, end it with `close`.

    It watches the service and the adapter: `failed` says what happened to them since, however well they are again, and
    `on_failure` hears of it at once. (bleak does not tell its clients when the service ends.)
    """

    def __init__(self, bus: MessageBus, adapter: str) -> None:
        self.bus = bus
        self.adapter = adapter
        self.path = f"/org/bluez/{adapter}"
        self.failed: StationError | None = None
        self.on_failure: Callable[[StationError], None] = lambda _: None

    @classmethod
    async def open(cls, adapter: str = "") -> Bluez:
        """Reach BlueZ and the adapter (default: the first). Raises StationError for whatever is missing."""
        bluez = await cls.reach()
        try:
            await bluez._choose(adapter)
            await bluez._watch()
        except BaseException:
            await bluez.close()
            raise
        return bluez

    @classmethod
    async def reach(cls) -> Bluez:
        """On the bus, with no adapter yet. Raises StationError when there is no bus, or none that answers."""
        bus = MessageBus(bus_type=BusType.SYSTEM)
        try:
            async with asyncio.timeout(ANSWER_WITHIN):
                await bus.connect()
        except TimeoutError as exc:
            bus.disconnect()
            raise StationError(
                "the system's D-Bus does not answer",
                advice="restart D-Bus, where there is systemd: systemctl restart dbus",
            ) from exc
        except (OSError, DBusError, EOFError) as exc:
            raise StationError("the system's D-Bus is not running", advice=START_BUS) from exc
        return cls(bus, "")

    async def adapters(self) -> list[str]:
        """The adapters that BlueZ has, in order. Raises StationError when BlueZ does not answer."""
        return sorted(path.rpartition("/")[2] for path, has in (await self.objects()).items() if ADAPTER in has)

    async def _choose(self, wanted: str) -> None:
        present = await self.adapters()
        if not present:
            raise StationError(
                "this computer has no Bluetooth adapter", advice="plug one in, or see 'bluetoothctl list'"
            )
        if wanted and wanted not in present:
            raise StationError(f"there is no adapter '{wanted}'", advice=f"present: {', '.join(present)}")
        self.adapter = wanted or present[0]
        self.path = f"/org/bluez/{self.adapter}"

    async def _watch(self) -> None:
        self.bus.add_message_handler(self._heard)
        for rule in _RULES:
            await self.listen(rule)

    def _heard(self, message: Message) -> None:
        """What the signals say about the service and the adapter."""
        body = message.body
        if message.message_type is not MessageType.SIGNAL:
            return
        if message.member == "NameOwnerChanged" and body[:1] == [SERVICE] and not body[2]:
            self._fail(StationError("the Bluetooth service has ended", advice=START_SERVICE))
        elif message.member == "InterfacesRemoved" and body[0] == self.path and ADAPTER in body[1]:
            self._fail(StationError(f"the adapter '{self.adapter}' is gone", advice="plug it in again"))
        elif message.member == "PropertiesChanged" and message.path == self.path and body[0] == ADAPTER:
            powered = body[1].get("Powered")
            if powered is not None and not powered.value:
                self._fail(_switched_off(self.adapter))

    def _fail(self, error: StationError) -> None:
        if self.failed is None:
            self.failed = error
            self.on_failure(error)

    async def close(self) -> None:
        self.bus.disconnect()
        with contextlib.suppress(Exception):  # what ended the bus, when it was not us
            await self.bus.wait_for_disconnect()  # type: ignore[no-untyped-call]  # dbus-fast leaves it untyped

    async def objects(self) -> Objects:
        """All objects of BlueZ with their interfaces and properties. Raises StationError when it does not answer."""
        reply = await self.call("/", "org.freedesktop.DBus.ObjectManager", "GetManagedObjects")
        return {
            path: {
                name: {key: variant.value for key, variant in properties.items()} for name, properties in has.items()
            }
            for path, has in reply[0].items()
        }

    async def properties(self) -> Mapping[str, Any]:
        """Those of the adapter. Raises StationError when it is gone."""
        has = (await self.objects()).get(self.path, {}).get(ADAPTER)
        if has is None:
            raise StationError(f"the adapter '{self.adapter}' is gone", advice="plug it in again")
        return has

    async def trouble(self) -> StationError | None:
        """Why this adapter cannot be used, or could not be at some time; None when all is well."""
        if self.failed is not None:
            return self.failed
        if not self.bus.connected:
            return _bus_ended()
        try:
            properties = await self.properties()
        except StationError as error:
            return error
        if not properties.get("Powered"):
            return _switched_off(self.adapter)
        return None

    async def devices(self, *, everywhere: bool = False) -> list[KnownDevice]:
        """The devices that BlueZ remembers on this adapter, or on all of them."""
        objects = await self.objects()
        tables = {path.rpartition("/")[0] for path, has in objects.items() if SERVICE_OBJECT in has}
        below = "/org/bluez/" if everywhere else self.path + "/"
        return [
            _known(path, has[DEVICE], has_table=path in tables)
            for path, has in objects.items()
            if path.startswith(below) and DEVICE in has
        ]

    async def device(self, address: str) -> KnownDevice | None:
        """What is remembered of this device on this adapter."""
        return next((one for one in await self.devices() if address.upper() in one.addresses), None)

    async def payload(self, address: str) -> int:
        """Octets that one write without response to this device carries now: BlueZ tells nobody when that changes."""
        objects, device = await self.objects(), await self.device(address)
        found = [
            has[CHARACTERISTIC]["MTU"]
            for path, has in objects.items()
            if device is not None and path.startswith(device.path + "/") and "MTU" in has.get(CHARACTERISTIC, {})
        ]
        return max(found, default=23) - 3

    async def device_at(self, path: str) -> KnownDevice | None:
        """What is remembered of the device with this object path."""
        return next((one for one in await self.devices() if one.path == path), None)

    async def disconnect(self, device: KnownDevice) -> None:
        await self.call(device.path, DEVICE, "Disconnect")

    async def forget(self, address: str) -> None:
        """Remove what is remembered of a device, its cached table and bond too; nothing to do for a stranger."""
        if (device := await self.device(address)) is not None:
            await self.remove(device)

    async def remove(self, device: KnownDevice) -> None:
        """Nothing to do when it went by itself meanwhile; a link to it is ended first, which takes BlueZ 2 s."""
        with contextlib.suppress(_Gone):
            await self.call(self.path, ADAPTER, "RemoveDevice", "o", [device.path], within=REMOVED_WITHIN)

    async def set_adapter(self, name: str, value: bool) -> None:
        """A property of the adapter that is true or false."""
        await self.call(self.path, PROPERTIES, "Set", "ssv", [ADAPTER, name, Variant("b", value)])

    async def listen(self, rule: str) -> None:
        """Let the signals come that fit this rule."""
        await self.call("/org/freedesktop/DBus", BUS, "AddMatch", "s", [rule], destination=BUS)

    async def call(
        self,
        path: str,
        interface: str,
        member: str,
        signature: str = "",
        body: list[Any] | None = None,
        *,
        destination: str = SERVICE,
        within: float | None = ANSWER_WITHIN,
    ) -> Any:
        """What it answers. BluezRefusal when it refuses, StationError when it does not answer or is gone."""
        message = Message(destination, path, interface, member, signature=signature, body=body or [])
        try:
            async with asyncio.timeout(within):
                reply = await self.bus.call(message)
        except TimeoutError as exc:
            raise StationError("the Bluetooth service does not answer", advice=RESTART_SERVICE) from exc
        except (EOFError, OSError) as exc:
            raise _bus_ended() from exc
        if reply is None or reply.message_type is MessageType.ERROR:
            name = (reply.error_name if reply else "") or "no reply"
            if name == "org.bluez.Error.DoesNotExist":
                raise _Gone(f"the Bluetooth service does not know it any more ({member})")
            if name in _NOT_RUNNING or name.startswith(_SPAWN):
                raise StationError("the Bluetooth service is not running", advice=START_SERVICE)
            raise BluezRefusal(member, name, str(reply.body[0]) if reply and reply.body else "")
        return reply.body


class BluezRefusal(StationError):
    """The service answers with an error: its `name`, and `details` in its own words."""

    def __init__(self, member: str, name: str, details: str = "") -> None:
        super().__init__(f"the Bluetooth service refuses {member}: {name}", advice=_ADVICE.get(name, ""))
        self.name, self.details = name, details


class _Gone(StationError):
    """What was asked for is not there any more."""


def _known(path: str, has: Mapping[str, Any], *, has_table: bool) -> KnownDevice:
    paired = bool(has.get("Paired") or has.get("Bonded"))
    return KnownDevice(
        path,
        has["Address"],
        has.get("Name", ""),
        bool(has.get("Connected")),
        has_table,
        paired,
        kept=bool(has.get("Trusted") or has.get("Blocked") or has.get("Class")),
        bonded=has.get("Bonded"),
        is_random=has.get("AddressType") == "random",
        resolved=bool(has.get("ServicesResolved")),
    )


def _bus_ended() -> StationError:
    return StationError("the system's D-Bus has ended", advice=START_BUS)


def _switched_off(adapter: str) -> StationError:
    return StationError(f"the adapter '{adapter}' is switched off", advice="bluetoothctl power on")


# D-Bus starts a service on demand where it is told how; a service that cannot be started is none that runs.
_NOT_RUNNING = ("org.freedesktop.DBus.Error.ServiceUnknown", "org.freedesktop.DBus.Error.NameHasNoOwner")
_SPAWN = "org.freedesktop.DBus.Error.Spawn."
_ADVICE = {
    "org.freedesktop.DBus.Error.AccessDenied": "add this user to the group that may talk to it (often bluetooth), and log in again",
}
