"""A stand-in for BlueZ: the objects it would have, and what was asked of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from benchrig.errors import StationError
from benchrig.radio.bluez import ADAPTER, DEVICE, SERVICE_OBJECT, Bluez, KnownDevice
from benchrig.radio.bluez_radio import BluezRadio
from benchrig.radio.scan import Report

UNIT = "C0:00:00:00:00:01"


class StandIn(Bluez):
    """`removed` are the paths that were to be forgotten."""

    def __init__(self, *devices: dict[str, Any], discovering: bool = False) -> None:
        self.adapter, self.path = "hci0", "/org/bluez/hci0"
        self.there: dict[str, Any] = {}
        for device in devices:
            self.add(**device)
        self.discovering = discovering
        self.removed: list[str] = []

    def add(self, address: str = UNIT, adapter: str = "hci0", table: bool = False, **properties: Any) -> None:
        path = f"/org/bluez/{adapter}/dev_{address.replace(':', '_')}"
        self.there[path] = {DEVICE: {"Address": address, **properties}}
        if table:
            self.there[f"{path}/service0001"] = {SERVICE_OBJECT: {}}

    async def objects(self) -> Mapping[str, Any]:
        return {self.path: {ADAPTER: {"Powered": True, "Discovering": self.discovering}}, **self.there}

    async def close(self) -> None:
        pass

    async def trouble(self) -> StationError | None:
        return None

    async def remove(self, device: KnownDevice) -> None:
        self.removed.append(device.path.rpartition("_")[2])
        self.there = {path: has for path, has in self.there.items() if not path.startswith(device.path)}


class Device:
    """What bleak hands out with a report."""

    def __init__(self, address: str) -> None:
        self.address = address
        self.details = {"path": f"/org/bluez/hci0/dev_{address.replace(':', '_')}"}


class Claim:
    """The lock, as if nobody else wanted it."""

    def still(self, connected: Iterable[str]) -> None:
        pass

    def connected(self, address: str) -> None:
        pass

    def release(self) -> None:
        pass


def radio(*devices: dict[str, Any], discovering: bool = False, prepared: bool = True) -> BluezRadio:
    claim: Any = Claim() if prepared else None
    return BluezRadio("host", bluez=StandIn(*devices, discovering=discovering), _claim=claim)


def report(address: str = UNIT, name: str = "unit", services: tuple[str, ...] = ("181a",)) -> Report:
    return Report(0.0, address, "random", name, -50, services, {}, {}, None, device=Device(address))
