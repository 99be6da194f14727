"""A line on a simulated radio: one air, a radio for each of the station's, and units whose device files are put into
slots and taken out.

A unit that is put in begins as its file says, whatever was done to it before; nothing of it lasts but its file, and a
bond that it had is forgotten on both sides. A file that disappears or is replaced pulls its unit out, at once and
without a word, as a power cut does.

Where a file is named by its slot alone, it says what is in the slot, whatever was scanned: a unit comes and goes with its
file, is there before its label was read, and stays as it is until its file is another one.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.errors import UsageError
from benchrig.line.unit_files import Stamp, UnitFile, UnitFiles, Unreadable, stamp_of
from benchrig.radio.bonds import MemoryBonds, StationIdentity
from benchrig.radio.specify import RadioChoice
from benchrig.station.station import Station
from benchrig.tasks import Tasks

if TYPE_CHECKING:
    from benchrig.radio.beside import Beside
    from benchrig.radio.radio import Radio
    from benchrig.radio.virtual.device_spec import Simulated
    from benchrig.radio.virtual.shared_air import Guests, SharedAir

# Seconds of real time between two looks at the files of what is in the slots.
LOOK_EVERY = 0.2


@dataclass
class Occupied:
    """What is in a slot."""

    file: UnitFile
    guests: Guests


class RehearsalBench:
    """Make it with `open`, end it with `close`, in one loop. Slots are the station's; those that share a radio hear all their
    units alike."""

    def __init__(self, station: Station, air: SharedAir, files: UnitFiles) -> None:
        assert station.rehearsal is not None
        self.station, self.air = station, air
        self._apart = float(station.rehearsal.apart.number)
        self._files = files
        self._bonds = MemoryBonds(StationIdentity.simulated(station.station))
        self._occupied: dict[str, Occupied] = {}
        self._wrong: dict[str, str] = {}
        self._seen: dict[str, Stamp | None] = {}
        self._changing = asyncio.Lock()
        self._open: dict[str, Radio] = {}
        self._tasks = Tasks(air.air.fail)
        self._over = threading.Event()

    @classmethod
    async def open(cls, station: Station, seed: int, *, folder: Path = Path(), watch: bool = True) -> RehearsalBench:
        """The bench of this station; files of units are seen from `folder`. With `watch` it looks after them by itself.
        UsageError for a station without a rehearsal, or for a broken file of what is nearby."""
        if station.rehearsal is None:
            raise UsageError("the station file has no rehearsal", advice="write rehearsal: with unit:")
        from benchrig.radio.virtual.shared_air import SharedAir

        air = station.rehearsal.air
        files = UnitFiles(station.rehearsal, folder)
        try:
            nearby = files.nearby()
        except Unreadable as error:
            raise UsageError(str(error), advice="correct the file, or leave out nearby:") from error
        around = SharedAir(seed, air.conditions if air else None)
        await around.enter(nearby)
        bench = cls(station, around, files)
        if bench._files.by_slot:
            await bench._look()
        if watch:
            bench._watch()
        return bench

    # Radios

    def choice(self, radio: str) -> RadioChoice:
        """What a run says that it was done over."""
        return RadioChoice("virtual", called=_title(radio))

    def opener(self, radio: str) -> Callable[[], Awaitable[Radio]]:
        """What opens a radio of the station, '' for the one of a station that names none. StationError while it is open
        or unplugged."""

        async def opened() -> Radio:
            made = await self.air.open_radio(_heard_as(radio), self._bonds, _title(radio))
            self._open[radio] = made
            self._tell_beside()
            return made

        return opened

    def unplug(self, radio: str) -> None:
        """Its adapter is pulled out."""
        self.air.unplug(_heard_as(radio))

    def plug_in(self, radio: str) -> None:
        self.air.plug_in(_heard_as(radio))

    def beside(self, slot: str) -> list[Beside]:
        """Consoles and switches of what is in a slot."""
        there = self._occupied.get(slot)
        return [*there.guests.beside] if there else []

    # Units

    async def put(self, slot: str, values: Mapping[str, str]) -> str:
        """Put the unit of these values into a slot, in place of what is in it; what is wrong with its file, in words. No
        file, no unit: the slot stays empty, and nothing is wrong."""
        async with self._changing:
            if self._files.by_slot:
                await self._look_at_all()
            else:
                await self._fill(slot, values)
        return self._wrong.get(slot, "")

    async def take(self, slot: str) -> None:
        """Take out what is in a slot, if anything is; it is without power at once. Nothing to do where files are named by
        slots alone."""
        if not self._files.by_slot:
            async with self._changing:
                await self._empty(slot)

    def occupied(self, slot: str) -> bool:
        return slot in self._occupied

    def poll(self) -> list[str]:
        """Look at the files of what is in the slots; the slots whose unit has just gone with its file. For whoever does not let
        the bench watch."""
        gone = self._pull_out()
        if self._files.by_slot and any(self._is_news(slot) for slot in self.station.slot_names):
            self._tasks.leave(self._look())
        return gone

    async def close(self) -> None:
        """Take everything out. InternalError when something of the simulation failed unseen."""
        self._over.set()
        await self._tasks.settled()
        await self.air.close()
        self._occupied.clear()

    # Inside

    async def _fill(self, slot: str, values: Mapping[str, str]) -> None:
        """With the unit of these values; what is wrong with its file goes to `_wrong`."""
        await self._empty(slot)
        self._wrong.pop(slot, None)
        try:
            file = self._files.read(self._files.path(slot, values))
        except Unreadable as error:
            self._wrong[slot] = str(error)
            return
        if file is not None:
            self._forget_bonds(file.units)
            guests = await self.air.enter(file.units, near=_heard_as(self._radio_of(slot)), apart=self._apart)
            self._occupied[slot] = Occupied(file, guests)
            self._tell_beside()

    async def _empty(self, slot: str) -> None:
        if there := self._occupied.pop(slot, None):
            self._tell_beside()
            await self.air.leave(there.guests)

    def _pull_out(self) -> list[str]:
        """At once, what has gone with its file."""
        gone = [slot for slot, there in self._occupied.items() if not there.file.is_same()]
        for slot in gone:
            guests = self._occupied.pop(slot).guests
            self.air.cut(guests)
            self._tasks.leave(self.air.leave(guests))
        self._tell_beside()
        return gone

    async def _look(self) -> None:
        async with self._changing:
            await self._look_at_all()

    async def _look_at_all(self) -> None:
        """Where files are named by slots alone: what has come, gone or changed."""
        self._pull_out()
        for slot in self.station.slot_names:
            if self._is_news(slot):
                self._seen[slot] = stamp_of(self._files.path(slot, {}))
                await self._fill(slot, {})

    def _is_news(self, slot: str) -> bool:
        """Whether another file is there than the one that was looked at last."""
        return slot not in self._occupied and stamp_of(self._files.path(slot, {})) != self._seen.get(slot)

    def _radio_of(self, slot: str) -> str:
        return self.station.slots[slot].radio if slot in self.station.slots else ""

    def _tell_beside(self) -> None:
        """Each radio has the consoles and switches of its slots."""
        for name, radio in self._open.items():
            radio.beside = [one for slot in self._occupied if self._radio_of(slot) == name for one in self.beside(slot)]

    def _forget_bonds(self, units: list[Simulated]) -> None:
        """As the unit has none; not where another one of this address may have it."""
        from benchrig.radio.virtual.device_spec import DeviceSpec

        there = {device.spec.own_address for one in self._occupied.values() for device in one.guests.devices}
        for unit in units:
            if isinstance(unit, DeviceSpec) and unit.own_address not in there:
                self._bonds.forget(unit.own_address, unit.own_address_type)

    def _watch(self) -> None:
        """A thread wakes the loop: its clock may be one that jumps."""
        loop, over = asyncio.get_running_loop(), self._over

        def wake() -> None:
            with contextlib.suppress(RuntimeError):  # the loop is closed
                while not over.wait(LOOK_EVERY):
                    loop.call_soon_threadsafe(self._wake)

        threading.Thread(target=wake, daemon=True).start()

    def _wake(self) -> None:
        if not self._over.is_set():
            self.poll()


def _heard_as(radio: str) -> str:
    """What a radio of the station is called on the air."""
    return f"bench {radio}".strip()


def _title(radio: str) -> str:
    return f"virtual:rehearsal, radio {radio}" if radio else "virtual:rehearsal"
