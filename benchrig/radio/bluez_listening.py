"""What Linux hears: BlueZ through bleak, with what BlueZ remembers, mixes in and keeps back taken apart from what was heard."""

from __future__ import annotations

import asyncio
import contextlib
import re
from collections.abc import AsyncIterator, Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Self

from bleak.assigned_numbers import AdvertisementDataType

from benchrig.errors import StationError
from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bleak_api import object_path
from benchrig.radio.bluez import Bluez, KnownDevice
from benchrig.radio.bluez_troubles import memory_of
from benchrig.radio.foreign import RESTART_SERVICE
from benchrig.radio.radio import GIVE_UP_WITHIN, Radio
from benchrig.radio.scan import Ear, Report, Selection
from benchrig.radio.turns import OwnTurn
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from bleak.backends.scanner import AdvertisementData

# What bleak says for BlueZ of a device that was not heard now: its report comes from a cache.
_FROM_CACHE = -127


@dataclass
class BluezListener(Radio):
    """What a Linux adapter hears. From the moment that it is claimed, this process alone among those of benchrig uses it.
    Of several runs in this process one scans or connects at a time; what one of them knows of units is no other's."""

    bluez: Bluez = field(kw_only=True)
    _selection: Selection = field(default_factory=Selection)
    _claim: AdapterLock | None = None
    _crowded: bool = False
    _drowned: bool = False
    _unheard: bool = False
    # whom we have been connected to: what BlueZ remembers of them is ours to remove
    _met: set[str] = field(default_factory=set)
    _wants_pairing: set[str] = field(default_factory=set)
    _remembered: dict[str, KnownDevice] = field(default_factory=dict)
    _mixed: str = ""
    _mixed_up: list[KnownDevice] = field(default_factory=list)
    # the adapter as the runs share it: this radio, and those that were lent of it
    _runs: list[BluezListener] = field(default_factory=list)
    # the addresses of what fitted in the last scan, which the next connection needs BlueZ to know
    found: frozenset[str] = frozenset()
    _air: OwnTurn = field(default_factory=OwnTurn)

    def for_run(self, without: frozenset[str] = frozenset()) -> Self:
        radio = super().for_run(without)
        self._runs.append(radio)
        return radio

    def _fresh(self, without: frozenset[str]) -> dict[str, Any]:
        heard: dict[str, Any] = {"_remembered": {}, "_mixed": "", "_mixed_up": [], "found": frozenset()}
        of_run = {"_selection": Selection(), "_crowded": False, "_drowned": False, "_unheard": False}
        own = {"_wants_pairing": set(), "_air": self._air.of_another()}
        return super()._fresh(without) | heard | of_run | own

    def _is_over(self) -> None:
        """What was lent of a radio counts no longer."""
        self._runs[:] = [radio for radio in self._runs if radio is not self]

    @property
    def _others(self) -> list[BluezListener]:
        """The runs beside this one."""
        return [radio for radio in self._runs if radio is not self]

    @property
    def _connected_beside(self) -> frozenset[str]:
        """The addresses of units that are those of other runs."""
        return frozenset(address for run in self._others for address in run.connected_to)

    def lose_links(self, reason: str) -> None:
        """They have gone with what carried them."""
        for link in self._links:
            link.on_disconnected(reason)

    def wishes_to_pair(self, path: str) -> None:
        """BlueZ has begun to pair with this device unasked."""

    @property
    def _connected(self) -> bool:
        return any(link.is_up for link in self._links)

    async def _devices(self) -> list[KnownDevice]:
        """What BlueZ remembers; the lock learns which links there still are."""
        devices = await self.bluez.devices()
        if self._claim is not None:
            self._claim.still(address for one in devices if one.connected for address in one.addresses)
        return devices

    async def _forget(self, devices: Iterable[KnownDevice]) -> list[KnownDevice]:
        """Those of them that could be removed, and were."""
        gone = [one for one in devices if not (one.connected or one.kept or one.paired)]
        await asyncio.gather(*(self.bluez.remove(one) for one in gone))
        self._met.difference_update(address for one in gone for address in one.addresses)
        return gone

    def is_cached(self, data: AdvertisementData) -> bool:
        return bool(data.rssi == _FROM_CACHE)

    @contextlib.asynccontextmanager
    async def scanning(
        self, on_report: Callable[[Report], object], *, active: bool = True, anew: Callable[[], bool] | None = None
    ) -> AsyncIterator[None]:
        """An active scan goes in rounds, until the unit is heard: BlueZ reports a device once in each, and drops what
        comes before it has told the kernel's answer to itself."""
        async with self._air.taken(), self._scanning(on_report, active=active, anew=anew):
            yield

    @contextlib.asynccontextmanager
    async def _scanning(
        self, on_report: Callable[[Report], object], *, active: bool, anew: Callable[[], bool] | None
    ) -> AsyncIterator[None]:
        ear = Ear(self._selection.accepts)

        def heard(report: Report) -> None:
            report = self._as_heard(report)
            ear.add(report)
            on_report(report)

        self._crowded = await self._others_scan()
        await self._clear_memory()
        self._drowned = self._unheard = False
        if not self._connected:
            self._wants_pairing.clear()
        goes_on = anew or (lambda: not ear.selected(self._selection))
        scan = self._in_rounds(heard, goes_on) if active else super().scanning(heard, active=False)
        try:
            async with scan:
                yield
        finally:
            self._sum_up(ear)
        self._crowded = self._crowded or await self._others_scan()

    def _sum_up(self, ear: Ear) -> None:
        fitting = ear.selected(self._selection)
        self.found = frozenset(sighting.address for sighting in fitting)
        self._unheard = not fitting and not self._connected
        self._drowned = self._crowded and self._unheard
        self._mixed = next((sighting.remembered for sighting in fitting if sighting.remembered), "")
        heard = {sighting.address for sighting in ear.heard.values() if sighting.remembered}
        self._mixed_up = [device for device in self._remembered.values() if device.address in heard]

    async def _clear_memory(self) -> None:
        """Let BlueZ forget what it heard before, and the tables that it has read: it would mix them into what is heard now.
        What it has to keep (paired devices), and what another scan or benchrig is about, is only known to be mixed."""
        devices = await self._devices()
        alone = self._claim is not None and not self._crowded
        kept = {address for run in self._others for address in run.found}
        own = (one for one in devices if not one.addresses & kept)
        gone = await self._forget(one for one in own if alone or one.addresses & self._met)
        left = (one for one in devices if one not in gone)
        self._remembered = {one.path: one for one in left if one.has_table or one.paired}

    def _as_heard(self, report: Report) -> Report:
        """Without what may come from BlueZ's memory."""
        known = self._remembered.get(object_path(report.device))
        return report if known is None else replace(report, name=None, services=(), remembered=memory_of(known))

    @contextlib.asynccontextmanager
    async def _in_rounds(self, heard: Callable[[Report], object], goes_on: Callable[[], bool]) -> AsyncIterator[None]:
        started: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        over, tasks = asyncio.Event(), Tasks()
        rounds = tasks.start(self._rounds(heard, goes_on, started, over))
        # what it says in the end of a service that hangs may come when nobody waits any more
        tasks.ignore(rounds)
        try:
            await asyncio.wait({rounds, started}, timeout=GIVE_UP_WITHIN, return_when=asyncio.FIRST_COMPLETED)
            if not started.done() and not rounds.done():
                rounds.cancel()
                raise await self._why_no_scan()
            if not rounds.done():
                yield
        finally:
            over.set()
            await _finished(rounds)

    async def _rounds(
        self,
        heard: Callable[[Report], object],
        goes_on: Callable[[], bool],
        started: asyncio.Future[None],
        over: asyncio.Event,
    ) -> None:
        while not over.is_set():
            async with super().scanning(heard, active=True):
                if not started.done():
                    started.set_result(None)
                while not over.is_set():
                    with contextlib.suppress(TimeoutError):
                        await asyncio.wait_for(over.wait(), self.scans_anew_after)
                    if goes_on():
                        break

    async def _why_no_scan(self) -> StationError:
        """BlueZ that answers everything but the request for a scan: it loses that one beside another program's."""
        return await self.bluez.trouble() or StationError(
            "the Bluetooth service does not begin to scan: another program may have begun at the same moment",
            advice="end the other programs that use Bluetooth, and run again",
        )

    def passive_options(self) -> dict[str, Any]:
        """BlueZ wants to know what to listen for."""
        options = {**self.scanner_options["bluez"], "or_patterns": or_patterns(self._selection)}
        return {**self.scanner_options, "bluez": options}

    async def _others_scan(self) -> bool:
        """Whether a scan goes on that is none of ours; the end of one's own takes BlueZ a moment."""
        for _ in range(3):
            if not (await self.bluez.properties()).get("Discovering"):
                return False
            await asyncio.sleep(0.1)
        return True


async def _finished(rounds: asyncio.Task[None]) -> None:
    """Raises what the scan raised, and StationError when it hangs: bleak asks the service without a deadline."""
    await asyncio.wait({rounds}, timeout=GIVE_UP_WITHIN)
    if not rounds.done():
        rounds.cancel()
        await asyncio.wait({rounds}, timeout=GIVE_UP_WITHIN)
        raise StationError("the Bluetooth service does not answer", advice=RESTART_SERVICE)
    if not rounds.cancelled():
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
