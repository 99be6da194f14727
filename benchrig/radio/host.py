"""The operating system's Bluetooth, through bleak's own backends."""

from __future__ import annotations

import asyncio
import contextlib
import platform
import re
import shutil
import sys
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from bleak.assigned_numbers import AdvertisementDataType

from benchrig.errors import ConnectTimeout, StationError
from benchrig.radio.foreign import RESTART_SERVICE
from benchrig.radio.offers import LACKS
from benchrig.radio.radio import GIVE_UP_WITHIN, Radio
from benchrig.radio.scan import Ear, Report, Selection, Sighting

if TYPE_CHECKING:
    from bleak.backends.scanner import AdvertisementData

    from benchrig.radio.bluez import Bluez
    from benchrig.radio.link import Link

# BlueZ and the kernel report a device once in each round of a scan, and rounds of about 11 s go on for as long as
# anybody scans.
_CROWDED = "another program is scanning with this adapter: it may take 11 s until the unit is heard, and connected"
# What bleak says for BlueZ of a device that was not heard now: its report comes from a cache.
_FROM_CACHE = -127
# How long BlueZ scans before it is told to scan anew, while the unit has not been heard.
ROUND = 1.5
# How long a link that was told to go may take until it is gone.
CLEARED_WITHIN = 10.0


@dataclass
class HostRadio(Radio):
    """A radio of the operating system. `bluez` is there on Linux."""

    bluez: Bluez | None = None
    _selection: Selection = field(default_factory=Selection)
    _drowned: bool = False

    async def prepare(self, selection: Selection) -> list[str]:
        """Clear the links that a dead process left to units of this selection: nothing may be timed over them."""
        self._selection = selection
        if self.bluez is None:
            return []
        self.bluez.on_failure = self._on_failure
        said = [_CROWDED] if await self._others_scan(self.bluez) else []
        for device in await self.bluez.devices():
            if device.connected and selection.may_mean(device.name, device.address):
                await self._clear(self.bluez, device)
                said.append(f"cleared a link that was left to {device.name or device.address}")
        return said

    async def _clear(self, bluez: Bluez, device: Any) -> None:
        await bluez.disconnect(device)
        deadline = asyncio.get_running_loop().time() + CLEARED_WITHIN
        while any(d.path == device.path and d.connected for d in await bluez.devices()):
            if asyncio.get_running_loop().time() > deadline:
                raise StationError(f"a link to {device.address} cannot be cleared", advice=RESTART_SERVICE)
            await asyncio.sleep(0.1)

    def _on_failure(self, error: StationError) -> None:
        """The links go with the service, but nobody tells their clients."""
        for link in self._links:
            link.on_disconnected(error.message)

    async def trouble(self) -> StationError | None:
        """The service, the adapter, or another program that holds the unit."""
        if self.bluez is None:
            return None
        return await self.bluez.trouble() or await self._holder(self.bluez) or (_drowned() if self._drowned else None)

    async def _holder(self, bluez: Bluez) -> StationError | None:
        """A unit that is connected, and not by this run, can be neither heard nor connected to."""
        own = {link.address for link in self._links if link.is_up}
        for device in await bluez.devices():
            if device.connected and device.address not in own and self._selection.may_mean(device.name, device.address):
                return _taken(device.name or device.address)
        return None

    @contextlib.asynccontextmanager
    async def scanning(self, on_report: Callable[[Report], None], *, active: bool = True) -> AsyncIterator[None]:
        """On BlueZ in rounds, until the unit is heard: it reports a device once in each, and drops what comes before it
        has told the kernel's answer to itself."""
        if self.bluez is None or not active:
            async with super().scanning(on_report, active=active):
                yield
            return
        crowded, ear = await self._others_scan(self.bluez), Ear(self._selection.accepts)
        self._drowned = False

        def heard(report: Report) -> None:
            ear.add(report)
            on_report(report)

        started, over = asyncio.Event(), asyncio.Event()
        rounds = asyncio.ensure_future(self._rounds(heard, ear, started, over))
        try:
            await asyncio.wait({rounds, asyncio.ensure_future(started.wait())}, return_when=asyncio.FIRST_COMPLETED)
            if not rounds.done():
                yield
        finally:
            self._drowned = crowded and not ear.selected(self._selection)
            started.set()
            over.set()
            await _finished(rounds)

    async def _rounds(
        self, heard: Callable[[Report], None], ear: Ear, started: asyncio.Event, over: asyncio.Event
    ) -> None:
        while not over.is_set():
            async with super().scanning(heard, active=True):
                started.set()
                while not over.is_set():
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(over.wait(), ROUND)
                    if not ear.selected(self._selection):
                        break

    def is_cached(self, data: AdvertisementData) -> bool:
        return self.bluez is not None and data.rssi == _FROM_CACHE

    def passive_options(self) -> dict[str, Any]:
        """BlueZ wants to know what to listen for."""
        if self.bluez is None:
            return self.scanner_options
        options = {**self.scanner_options["bluez"], "or_patterns": or_patterns(self._selection)}
        return {**self.scanner_options, "bluez": options}

    async def _others_scan(self, bluez: Bluez) -> bool:
        """Whether a scan goes on that is none of ours; the end of one's own takes BlueZ a moment."""
        for _ in range(3):
            if not (await bluez.properties()).get("Discovering"):
                return False
            await asyncio.sleep(0.1)
        return True

    async def connect(self, sighting: Sighting, within: float) -> Link:
        if self.bluez is not None and any(
            d.connected for d in await self.bluez.devices() if d.address == sighting.address
        ):
            # bleak would join that link, and the program that made it would take it away
            raise _taken(sighting.name or sighting.address)
        crowded = self.bluez is not None and await self._others_scan(self.bluez)
        try:
            link = await super().connect(sighting, within)
        except ConnectTimeout:
            # the kernel connects when it hears the unit, which is once in a round of the other scan
            self._drowned = crowded
            raise
        if (bluez := self.bluez) is not None:
            link.ask_payload = lambda: bluez.payload(link.address)
        return link

    async def forget(self, sighting: Sighting) -> None:
        if self.bluez is not None:
            await self.bluez.forget(sighting.address)
        elif sys.platform == "darwin":
            raise StationError("macOS does not forget the table of a device", advice="switch Bluetooth off and on")


async def _finished(rounds: asyncio.Task[None]) -> None:
    """Raises what the scan raised, and StationError when it hangs: bleak asks the service without a deadline."""
    await asyncio.wait({rounds}, timeout=GIVE_UP_WITHIN)
    if not rounds.done():
        rounds.cancel()
        await asyncio.wait({rounds}, timeout=GIVE_UP_WITHIN)
        raise StationError("the Bluetooth service does not answer", advice=RESTART_SERVICE)
    rounds.result()


def or_patterns(selection: Selection) -> list[tuple[int, AdvertisementDataType, bytes]]:
    """What a unit of this selection may advertise, any of it: (offset, type, octets at the offset). Where the selection
    says nothing that can be matched, whatever has flags (Core Supplement Part A 1.3)."""
    kinds = AdvertisementDataType
    name = re.split(r"[*?\[]", selection.name or "")[0].encode()
    found = [(0, kind, name) for kind in (kinds.COMPLETE_LOCAL_NAME, kinds.SHORTENED_LOCAL_NAME) if name]
    if selection.manufacturer is not None:
        company = selection.manufacturer.to_bytes(2, "little")
        found.append((0, kinds.MANUFACTURER_SPECIFIC_DATA, company + selection.manufacturer_data))
    return found or [(0, kinds.FLAGS, bytes((flags,))) for flags in range(32)]


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
        whole_table=False,
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
        facts["BlueZ"] = await program_version("bluetoothctl")
        facts["D-Bus"] = await program_version("dbus-daemon")
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


def _drowned() -> StationError:
    return StationError(
        "another program is scanning with this adapter, which kept the unit from being heard",
        advice="end that scan, or allow scan and connect 12 s at least (within)",
    )


def _taken(unit: str) -> StationError:
    return StationError(
        f"another program on this machine is connected to {unit}", advice="end that program, and run again"
    )


async def _nothing() -> None:
    pass
