"""What the bench asks of BlueZ beside bleak: adapters, links that somebody left, devices to forget.

On Linux only; the messages go over dbus-fast, which bleak brings along. Names of objects and properties:
BlueZ doc/org.bluez.Adapter.rst and org.bluez.Device.rst.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dbus_fast import BusType, DBusError, Message, MessageType
from dbus_fast.aio import MessageBus

from benchrig.errors import StationError

SERVICE = "org.bluez"
ADAPTER, DEVICE = "org.bluez.Adapter1", "org.bluez.Device1"
# A healthy service answers in milliseconds.
ANSWER_WITHIN = 5.0

Objects = Mapping[str, Mapping[str, Mapping[str, Any]]]


@dataclass(frozen=True)
class KnownDevice:
    """A device that BlueZ remembers. `name` is what it remembers it by, '' when it does not."""

    path: str
    address: str
    name: str
    connected: bool


class Bluez:
    """A connection to the system bus, for one adapter. Make it with `open`, end it with `close`."""

    def __init__(self, bus: MessageBus, adapter: str) -> None:
        self._bus = bus
        self.adapter = adapter
        self.path = f"/org/bluez/{adapter}"

    @classmethod
    async def open(cls, adapter: str = "") -> Bluez:
        """Reach BlueZ and the adapter (default: the first). Raises StationError for whatever is missing."""
        try:
            bus = await MessageBus(bus_type=BusType.SYSTEM).connect()
        except (OSError, DBusError, EOFError) as exc:
            raise StationError(
                "the system's D-Bus is not running", advice="start D-Bus and the Bluetooth service"
            ) from exc
        bluez = cls(bus, adapter)
        try:
            await bluez._choose(adapter)
        except BaseException:
            await bluez.close()
            raise
        return bluez

    async def _choose(self, wanted: str) -> None:
        present = sorted(path.rpartition("/")[2] for path, has in (await self.objects()).items() if ADAPTER in has)
        if not present:
            raise StationError(
                "this machine has no Bluetooth adapter", advice="plug one in, or see 'bluetoothctl list'"
            )
        if wanted and wanted not in present:
            raise StationError(f"there is no adapter '{wanted}'", advice=f"present: {', '.join(present)}")
        self.adapter = wanted or present[0]
        self.path = f"/org/bluez/{self.adapter}"

    async def close(self) -> None:
        self._bus.disconnect()
        await self._bus.wait_for_disconnect()  # type: ignore[no-untyped-call]  # dbus-fast leaves it untyped

    async def objects(self) -> Objects:
        """All objects of BlueZ with their interfaces and properties. Raises StationError when it does not answer."""
        reply = await self._call("/", "org.freedesktop.DBus.ObjectManager", "GetManagedObjects")
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
        """Why this adapter cannot be used at the moment; None when it can."""
        try:
            properties = await self.properties()
        except StationError as error:
            return error
        if not properties.get("Powered"):
            return StationError(f"the adapter '{self.adapter}' is switched off", advice="bluetoothctl power on")
        return None

    async def devices(self) -> list[KnownDevice]:
        """The devices that BlueZ remembers on this adapter."""
        return [
            KnownDevice(path, has[DEVICE]["Address"], has[DEVICE].get("Name", ""), bool(has[DEVICE].get("Connected")))
            for path, has in (await self.objects()).items()
            if path.startswith(self.path + "/") and DEVICE in has
        ]

    async def disconnect(self, device: KnownDevice) -> None:
        await self._call(device.path, DEVICE, "Disconnect")

    async def forget(self, address: str) -> None:
        """Remove what is remembered of a device, its cached table and bond too; nothing to do for a stranger."""
        for device in await self.devices():
            if device.address.upper() == address.upper():
                await self._call(self.path, ADAPTER, "RemoveDevice", "o", [device.path])

    async def _call(
        self, path: str, interface: str, member: str, signature: str = "", body: list[Any] | None = None
    ) -> Any:
        message = Message(SERVICE, path, interface, member, signature=signature, body=body or [])
        try:
            async with asyncio.timeout(ANSWER_WITHIN):
                reply = await self._bus.call(message)
        except (TimeoutError, EOFError, OSError) as exc:
            raise StationError("the Bluetooth service does not answer", advice="restart it (bluetoothd)") from exc
        if reply is None or reply.message_type is MessageType.ERROR:
            name = reply.error_name if reply else "no reply"
            raise StationError(f"the Bluetooth service refuses {member}: {name}", advice=_ADVICE.get(name or "", ""))
        return reply.body


_ADVICE = {
    "org.freedesktop.DBus.Error.ServiceUnknown": "start the Bluetooth service (bluetoothd)",
    "org.freedesktop.DBus.Error.NameHasNoOwner": "start the Bluetooth service (bluetoothd)",
    "org.freedesktop.DBus.Error.AccessDenied": "this user may not talk to the Bluetooth service",
}
