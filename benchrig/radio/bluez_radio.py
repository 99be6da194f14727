"""The radio of Linux: BlueZ through bleak, with what BlueZ remembers, mixes in and does by itself taken apart from what
was heard."""

from __future__ import annotations

import asyncio
import contextlib
import fnmatch
import re
from collections.abc import AsyncIterator, Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from bleak.assigned_numbers import AdvertisementDataType

from benchrig.errors import ConnectTimeout, DeviceNotFound, StationError, SystemPairing
from benchrig.radio.adapter_lock import AdapterLock
from benchrig.radio.bleak_api import object_path
from benchrig.radio.bluez import Bluez, KnownDevice
from benchrig.radio.foreign import RESTART_SERVICE
from benchrig.radio.offers import Names, Step
from benchrig.radio.pairing import Agent
from benchrig.radio.radio import GIVE_UP_WITHIN, PREPARE_WITHIN, Radio
from benchrig.radio.scan import Ear, Report, Selection, Sighting
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from bleak.backends.scanner import AdvertisementData

    from benchrig.radio.link import Link

# BlueZ and the kernel report a device once in each round of a scan, and rounds of about 11 s go on for as long as
# anybody scans.
_CROWDED = "another program is scanning with this adapter: it may take 11 s until the unit is heard, and connected"
# What takes longer while another program scans, and why that is not judged.
_SLOWED = frozenset({
    "scan.found_after", "scan.heard", "scan.advertises_after", "scan.reached_after", "connect.elapsed",
    "connect.advertises_after", "disconnect.advertises_after",
})  # fmt: skip
_NOT_TIMED = "another program is scanning with this adapter, which delays what is heard"
# What bleak says for BlueZ of a device that was not heard now: its report comes from a cache.
_FROM_CACHE = -127
_MAY_PAIR = "BlueZ takes no refusal of pairings from this user: a unit that wants an encrypted link may be paired, or fall silent"
# How long BlueZ scans before it is told to scan anew, while the unit has not been heard.
ROUND = 1.5
# How long a link that was told to go may take until it is gone.
CLEARED_WITHIN = 10.0
# Shorter waits for another benchrig are not worth a word.
WAITED = 0.5


@dataclass
class BluezRadio(Radio):
    """An adapter of BlueZ, for this process alone among those of benchrig from `prepare` on."""

    bluez: Bluez = field(kw_only=True)
    _selection: Selection = field(default_factory=Selection)
    _claim: AdapterLock | None = None
    _crowded: bool = False
    _drowned: bool = False
    _unheard: bool = False
    _target: str = ""
    # whom we have been connected to: what BlueZ remembers of them is ours to remove
    _met: set[str] = field(default_factory=set)
    _wants_pairing: set[str] = field(default_factory=set)
    _remembered: dict[str, KnownDevice] = field(default_factory=dict)
    _mixed: str = ""

    async def prepare(self, selection: Selection, within: float = PREPARE_WITHIN) -> list[str]:
        """Take the adapter, and clear the links that a dead benchrig left on it: nothing may be timed over them."""
        self.look_for(selection)
        self.bluez.on_failure = self._on_failure
        said = [] if self._claim else await self._take(within)
        if await self._others_scan():
            said.append(_CROWDED)
        return said

    def look_for(self, selection: Selection) -> None:
        self._selection = selection

    async def _take(self, within: float) -> list[str]:
        now = asyncio.get_running_loop().time
        started = now()
        self._claim = await AdapterLock.take(self.bluez.adapter, within)
        waited = now() - started
        said = [f"waited {waited:.1f} s for another benchrig that used this adapter"] if waited > WAITED else []
        if not await Agent(self.bluez, self._asked_to_pair).register():
            said.append(_MAY_PAIR)
        self._met = self._claim.met
        for device in await self.bluez.devices():
            if device.address in self._claim.left and await self._clear(device):
                said.append(f"cleared a link that was left to {device.name or device.address}")
        return said

    async def _clear(self, device: KnownDevice) -> bool:
        """Whether there was a link; an attempt to connect ends too."""
        with contextlib.suppress(StationError):
            await self.bluez.disconnect(device)
        deadline = asyncio.get_running_loop().time() + CLEARED_WITHIN
        while any(d.path == device.path and d.connected for d in await self.bluez.devices()):
            if asyncio.get_running_loop().time() > deadline:
                raise StationError(f"a link to {device.address} cannot be cleared", advice=RESTART_SERVICE)
            await asyncio.sleep(0.1)
        return device.connected

    def __post_init__(self) -> None:
        self.on_close = self._leave

    async def _leave(self) -> None:
        """Without a trace: the next one shall hear what is on the air, not what we have read."""
        try:
            with contextlib.suppress(StationError):
                there = await self._devices()
                self._met.intersection_update(one.address for one in there)
                await self._forget(one for one in there if one.address in self._met)
            await self.bluez.close()
        finally:
            if self._claim is not None:
                self._claim.release()
                self._claim = None

    async def _devices(self) -> list[KnownDevice]:
        """What BlueZ remembers; the lock learns which links there still are."""
        devices = await self.bluez.devices()
        if self._claim is not None:
            self._claim.still(one.address for one in devices if one.connected)
        return devices

    async def _forget(self, devices: Iterable[KnownDevice]) -> list[KnownDevice]:
        """Those of them that could be removed, and were."""
        gone = [one for one in devices if not one.connected and not one.kept]
        await asyncio.gather(*(self.bluez.remove(one) for one in gone))
        self._met.difference_update(one.address for one in gone)
        return gone

    def _on_failure(self, error: StationError) -> None:
        """The links go with the service, but nobody tells their clients."""
        for link in self._links:
            link.on_disconnected(error.message)

    def _asked_to_pair(self, path: str) -> None:
        if path.startswith(self.bluez.path + "/"):
            self._wants_pairing.add(path.rpartition("/dev_")[2].replace("_", ":"))

    @property
    def _connected(self) -> bool:
        return any(link.is_up for link in self._links)

    # --- what is behind a failure

    async def trouble(self) -> StationError | None:
        """The service, the adapter, a pairing, another program that holds the unit, or one that scans."""
        return (
            await self.bluez.trouble()
            or (_pairing() if self._target in self._wants_pairing else None)
            or await self._holder()
            or self._hidden_by_memory()
            or (_drowned() if self._drowned else None)
        )

    async def _holder(self) -> StationError | None:
        """A unit that is connected, and not by this run, can be neither heard nor connected to, through any adapter."""
        own = {link.address for link in self._links if link.is_up}
        held = [one for one in await self.bluez.devices(everywhere=True) if one.connected and one.address not in own]
        if (taken := next((one for one in held if self._is_unit(one)), None)) is not None:
            return _taken(taken)
        maybe = next((one for one in held if self._unheard and self._may_be_unit(one)), None)
        return None if maybe is None else _perhaps_taken(maybe)

    def _is_unit(self, device: KnownDevice) -> bool:
        if device.address == self._target:
            return True
        named = any(fnmatch.fnmatchcase(device.name, name) for name in self._selection.names)
        return self._unheard and self._may_be_unit(device) and bool(self._selection.addresses or named)

    def _may_be_unit(self, device: KnownDevice) -> bool:
        """Of a device that is connected BlueZ tells neither the name nor the services that it advertised."""
        wanted = self._selection.addresses
        return all(device.address.upper() == address.upper() for address in wanted)

    def _hidden_by_memory(self) -> StationError | None:
        """A unit of which only what BlueZ remembers could have been selected."""
        if not self._unheard or not self._mixed_up:
            return None
        device = self._mixed_up[0]
        return StationError(
            f"{_memory_of(device)}, so that neither selects it",
            advice=f"select it by its address, or let Linux forget it: bluetoothctl remove {device.address}",
        )

    # --- listening

    def is_cached(self, data: AdvertisementData) -> bool:
        return bool(data.rssi == _FROM_CACHE)

    @contextlib.asynccontextmanager
    async def scanning(
        self, on_report: Callable[[Report], object], *, active: bool = True, anew: Callable[[], bool] | None = None
    ) -> AsyncIterator[None]:
        """An active scan goes in rounds, until the unit is heard: BlueZ reports a device once in each, and drops what
        comes before it has told the kernel's answer to itself."""
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
        gone = await self._forget(one for one in devices if alone or one.address in self._met)
        left = (one for one in devices if one not in gone)
        self._remembered = {one.path: one for one in left if one.has_table or one.paired}

    def _as_heard(self, report: Report) -> Report:
        """Without what may come from BlueZ's memory."""
        known = self._remembered.get(object_path(report.device))
        return report if known is None else replace(report, name=None, services=(), remembered=_memory_of(known))

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
                        await asyncio.wait_for(over.wait(), ROUND)
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

    def unjudged(self, step: Step, name: str, names: Names) -> str:
        reading = f"{step.verb}.{name}"
        if self._crowded and reading in _SLOWED:
            return _NOT_TIMED
        if self._mixed and reading in ("scan.name", "scan.services"):
            return self._mixed
        return super().unjudged(step, name, names)

    # --- connecting

    async def connect(self, sighting: Sighting, within: float) -> Link:
        """The table is read anew each time, save that of a paired device, which BlueZ has to keep."""
        deadline = asyncio.get_running_loop().time() + within
        self._target = sighting.address
        self._met.add(sighting.address)
        self._wants_pairing.discard(sighting.address)
        known = [one for one in await self.bluez.devices(everywhere=True) if one.address == sighting.address]
        if (taken := next((one for one in known if one.connected), None)) is not None:
            raise _taken(taken)  # bleak would join that link, and the program that made it would take it away
        self._crowded = await self._others_scan()
        remembered = next((one for one in known if one.path.startswith(self.bluez.path + "/")), None)
        if remembered is not None and remembered.has_table and not remembered.kept:
            sighting = await self._met_anew(sighting, remembered, deadline)
        link = await self._connect(sighting, deadline)
        if remembered is not None and remembered.paired:
            link.remarks.append(
                "Linux is paired with the unit: its table may come from a cache, and the link is encrypted"
            )
        return link

    async def _connect(self, sighting: Sighting, deadline: float) -> Link:
        if self._claim is not None:
            self._claim.connected(sighting.address)
        try:
            return await super().connect(sighting, max(0.05, deadline - asyncio.get_running_loop().time()))
        except ConnectTimeout:
            # the kernel connects when it hears the unit, which is once in a round of the other scan
            self._drowned = self._crowded
            raise

    async def payload(self, link: Link) -> int:
        """bleak keeps what BlueZ said when it connected; BlueZ knows better by now."""
        return await self.bluez.payload(link.address)

    async def _met_anew(self, sighting: Sighting, remembered: KnownDevice, deadline: float) -> Sighting:
        """The same device, heard again after BlueZ has forgotten it and its table. DeviceNotFound."""
        await self.bluez.remove(remembered)
        again: asyncio.Future[Report] = asyncio.get_running_loop().create_future()

        def heard(report: Report) -> None:
            if report.address == sighting.address and not again.done():
                again.set_result(report)

        async with self.scanning(heard):
            left = deadline - asyncio.get_running_loop().time()
            await asyncio.wait({again}, timeout=max(0.0, left))
        if not again.done():
            raise DeviceNotFound(f"{sighting.name or sighting.address} is no longer heard", advice="scan again")
        return replace(sighting, device=again.result().device)

    async def forget(self, sighting: Sighting) -> None:
        await self.bluez.forget(sighting.address)


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


def _drowned() -> StationError:
    return StationError(
        "another program is scanning with this adapter, which kept the unit from being heard",
        advice="end that scan, or allow finding and connecting 12 s each (within; for a command: --within 60s)",
    )


def _pairing() -> StationError:
    return SystemPairing(
        "the unit wants a paired, encrypted link, and Linux is trying to pair, which was refused: "
        "what the unit answered cannot be seen",
        advice="pair with the unit by the system's own tools before the run, or test this on another radio: --radio hci:…",
    )


def _taken(device: KnownDevice) -> StationError:
    return StationError(
        f"another program on this computer is connected to {device.name or device.address} through {device.adapter}",
        advice=f"end that program, or end its link: bluetoothctl disconnect {device.address}",
    )


def _perhaps_taken(device: KnownDevice) -> StationError:
    return StationError(
        f"the unit was not heard, and another program on this computer is connected to "
        f"{device.name or device.address} ({device.address}, {device.adapter}), which may be the unit",
        advice=f"end that link: bluetoothctl disconnect {device.address}; or select the unit by its address",
    )


def _memory_of(device: KnownDevice) -> str:
    why = "is paired with" if device.paired else "was connected to"
    return (
        f"Linux {why} {device.name or device.address} and mixes its table with the name and the services it advertises"
    )
