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
from benchrig.radio.lock_file import WITHIN, LockFile
from benchrig.radio.lock_file import Radio as LockedRadio
from benchrig.radio.offers import CANNOT, HIDDEN, LACKS, PARTLY
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Selection, Sighting
from benchrig.radio.security import LinkSecurity
from benchrig.radio.system_pairing import SystemSecurity

if TYPE_CHECKING:
    from bleak import BleakClient

    from benchrig.radio.bluez import Bluez


@dataclass
class HostRadio(Radio):
    """A radio of macOS or Windows, for this process alone among those of benchrig from `prepare` on."""

    sends_unoffered: bool = False
    _lock_file: LockFile | None = None

    async def prepare(self, selection: Selection, within: float | None = None) -> list[str]:
        if self._lock_file is None and not self.is_lent:
            self._lock_file = await LockFile.take(_OF_SYSTEM, self.waits if within is None else within)
            self.waited = self._lock_file.waited
        return await super().prepare(selection)

    async def close(self) -> None:
        try:
            await super().close()
        finally:
            if self._lock_file is not None and not self.is_lent:
                self._lock_file.release()
                self._lock_file = None

    async def forget(self, sighting: Sighting) -> None:
        if sys.platform == "darwin":
            raise StationError("macOS does not forget the table of a device", advice="switch Bluetooth off and on")

    def security_of(self, client: BleakClient, name: str) -> LinkSecurity:
        return SystemSecurity(client)


async def open_host(name: str, adapter: str = "", *, within: float = WITHIN) -> Radio:
    """The default adapter or a named one. Another benchrig that has it is waited for when it is prepared, `within` seconds.
    Raises StationError for whatever keeps it from working."""
    if platform.system() == "Linux":
        return await _open_bluez(name, adapter, within)
    if adapter:
        raise StationError("only Linux lets an adapter be chosen", advice="leave it out: --radio host")
    options = {"winrt": {"use_cached_services": False}} if sys.platform == "win32" else {}
    return HostRadio(name, client_options=dict(options), facts=_SYSTEM, waits=within, **_OF_HOST)


# After 30 s BlueZ drops a device with which it could not pair, while the link seems to be there.
PATIENCE = 25.0
# What every operating system keeps from its programs.
_OF_HOST: dict[str, Any] = {
    "cannot": CANNOT["host"],
    "lacks": LACKS["host"],
    "partly": PARTLY["host"],
    "repeats_hidden": True,
    "one_at_a_time": True,
    "whole_table": False,
    "hidden_services": HIDDEN["host"],
}
_OF_SYSTEM = LockedRadio("host", "the radio 'host'", "wait until it has ended, or end it")
_SYSTEM = {"system": f"{platform.system()} {platform.release()}"}


async def _open_bluez(name: str, adapter: str, within: float) -> Radio:
    from benchrig.radio.bluez import Bluez
    from benchrig.radio.bluez_radio import BluezRadio

    bluez = await Bluez.open(adapter)
    if (trouble := await bluez.trouble()) is not None:
        await bluez.close()
        raise trouble
    options = {"bluez": {"adapter": bluez.adapter}}
    return BluezRadio(
        name,
        scanner_options={**options},
        client_options={**options},
        facts=await _facts(bluez),
        reads_reach_listeners=True,
        # BlueZ names a characteristic by the handle of its declaration, which the value follows (Core Vol 3 Part G 3.3)
        value_follows=1,
        patience=PATIENCE,
        waits=within,
        bluez=bluez,
        **_OF_HOST,
    )


async def _facts(bluez: Bluez) -> Mapping[str, str]:
    facts = {
        **_SYSTEM,
        "adapter": f"{bluez.adapter} {(await bluez.properties()).get('Address', '')}",
        "BlueZ": await program_version("bluetoothctl"),
        "D-Bus": await program_version("dbus-daemon"),
    }
    return {name: fact for name, fact in facts.items() if fact}


async def program_version(program: str) -> str:
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
