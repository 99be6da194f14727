"""The operating system's Bluetooth, through bleak's own backends."""

from __future__ import annotations

import asyncio
import platform
import shutil
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from benchrig.errors import StationError
from benchrig.radio.offers import LACKS
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection, Sighting

if TYPE_CHECKING:
    from benchrig.radio.bluez import Bluez

# How long a link that was told to go may take until it is gone.
CLEARED_WITHIN = 10.0


@dataclass
class HostRadio(Radio):
    """A radio of the operating system. `bluez` is there on Linux."""

    bluez: Bluez | None = None

    async def prepare(self, selection: Selection) -> list[str]:
        """Clear the links that a dead process left to units of this selection: nothing may be timed over them."""
        if self.bluez is None:
            return []
        cleared = []
        for device in await self.bluez.devices():
            if device.connected and selection.may_mean(device.name, device.address):
                await self._clear(self.bluez, device)
                cleared.append(f"cleared a link that was left to {device.name or device.address}")
        return cleared

    async def _clear(self, bluez: Bluez, device: Any) -> None:
        await bluez.disconnect(device)
        deadline = asyncio.get_running_loop().time() + CLEARED_WITHIN
        while any(d.path == device.path and d.connected for d in await bluez.devices()):
            if asyncio.get_running_loop().time() > deadline:
                raise StationError(
                    f"a link to {device.address} cannot be cleared", advice="restart the Bluetooth service"
                )
            await asyncio.sleep(0.1)

    async def trouble(self) -> StationError | None:
        return None if self.bluez is None else await self.bluez.trouble()

    async def forget(self, sighting: Sighting) -> None:
        if self.bluez is not None:
            await self.bluez.forget(sighting.address)
        elif sys.platform == "darwin":
            raise StationError("macOS does not forget the table of a device", advice="switch Bluetooth off and on")


async def open_host(name: str, adapter: str = "") -> Radio:
    """The default adapter or a named one. Raises StationError for whatever keeps it from working."""
    bluez = await _bluez(adapter)
    options: dict[str, Any] = {"bluez": {"adapter": bluez.adapter}} if bluez else {}
    if adapter and bluez is None:
        raise StationError("only Linux lets an adapter be chosen", advice="leave it out: --radio host")
    return HostRadio(
        name,
        scanner_options=options,
        client_options=options | ({"winrt": {"use_cached_services": False}} if sys.platform == "win32" else {}),
        facts=await _facts(bluez),
        lacks=LACKS["host"],
        reads_reach_listeners=bluez is not None,
        on_close=bluez.close if bluez else _nothing,
        bluez=bluez,
    )


async def _bluez(adapter: str) -> Bluez | None:
    if sys.platform != "linux":
        return None
    from benchrig.radio.bluez import Bluez

    bluez = await Bluez.open(adapter)
    trouble = await bluez.trouble()
    if trouble is not None:
        await bluez.close()
        raise trouble
    return bluez


async def _facts(bluez: Bluez | None) -> Mapping[str, str]:
    facts = {"system": f"{platform.system()} {platform.release()}"}
    if bluez is not None:
        properties = await bluez.properties()
        facts["adapter"] = f"{bluez.adapter} {properties.get('Address', '')}"
        facts["BlueZ"] = await _version("bluetoothctl")
        facts["D-Bus"] = await _version("dbus-daemon")
    return {name: fact for name, fact in facts.items() if fact}


async def _version(program: str) -> str:
    """What `program --version` says in its first line; '' without it."""
    if shutil.which(program) is None:
        return ""
    process = await asyncio.create_subprocess_exec(
        program, "--version", stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.DEVNULL
    )
    try:
        async with asyncio.timeout(2):
            output, _ = await process.communicate()
    except TimeoutError:
        process.kill()
        await process.wait()
        return ""
    return output.decode("utf-8", "replace").partition("\n")[0].strip()[:100]


async def _nothing() -> None:
    pass
