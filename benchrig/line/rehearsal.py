"""A line on a simulated radio: one air, a radio for each of the station's, and units whose device files are put into
slots and taken out.

A unit that is put in begins as its file says, whatever was done to it before; nothing of it lasts but its file, and a
bond that it had is forgotten on both sides. A file that disappears or is replaced pulls its unit out, at once and
without a word, as a power cut does.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.errors import PlanError, UsageError
from benchrig.radio.bonds import MemoryBonds, StationIdentity
from benchrig.radio.specify import RadioChoice
from benchrig.source.problem import Problems
from benchrig.station.station import Station
from benchrig.station.told import with_words
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
    """What is in a slot, and the file that it is made of."""

    file: Path
    data: bytes
    stamp: tuple[int, int, int]
    guests: Guests


class RehearsalBench:
    """Make it with `open`, end it with `close`, in one loop. Slots are the station's; those that share a radio hear all their
    units alike."""

    def __init__(self, station: Station, air: SharedAir, folder: Path) -> None:
        assert station.rehearsal is not None
        self.station, self.air = station, air
        self._said, self._folder = station.rehearsal, folder
        self._bonds = MemoryBonds(StationIdentity.simulated(station.station))
        self._occupied: dict[str, Occupied] = {}
        self._open: dict[str, Radio] = {}
        self._tasks = Tasks(air.air.fail)
        self._over = threading.Event()

    @classmethod
    async def open(cls, station: Station, seed: int, *, folder: Path = Path(), watch: bool = True) -> RehearsalBench:
        """The bench of this station; files of units are seen from `folder`. With `watch` it looks after them by itself.
        UsageError for a station without a rehearsal."""
        if station.rehearsal is None:
            raise UsageError("the station file has no rehearsal", advice="write rehearsal: with unit:")
        from benchrig.radio.virtual.shared_air import SharedAir

        air = station.rehearsal.air
        bench = cls(station, SharedAir(seed, air.conditions if air else None), folder)
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
        await self.take(slot)
        try:
            file = self._file(slot, values)
            data, stamp = _read(file)
            units = self._units(file, data)
        except FileNotFoundError:
            return ""
        except OSError as exc:
            return f"the file of the unit cannot be read: {exc.strerror or exc}"
        except PlanError as error:
            return "; ".join(str(problem).splitlines()[0] for problem in error.problems)
        except UsageError as error:
            return error.message
        self._forget_bonds(units)
        near, apart = _heard_as(self._radio_of(slot)), float(self._said.apart.number)
        guests = await self.air.enter(units, near=near, apart=apart)
        self._occupied[slot] = Occupied(file, data, stamp, guests)
        self._tell_beside()
        return ""

    async def take(self, slot: str) -> None:
        """Take out what is in a slot, if anything is; it is without power at once."""
        if there := self._occupied.pop(slot, None):
            self._tell_beside()
            await self.air.leave(there.guests)

    def poll(self) -> list[str]:
        """Look at the files of what is in the slots; the slots whose unit has just gone with its file. For whoever does not let
        the bench watch."""
        gone = [slot for slot, there in self._occupied.items() if not _is_same(there)]
        for slot in gone:
            guests = self._occupied.pop(slot).guests
            self.air.cut(guests)
            self._tasks.leave(self.air.leave(guests))
        self._tell_beside()
        return gone

    async def close(self) -> None:
        """Take everything out. InternalError when something of the simulation failed unseen."""
        self._over.set()
        await self._tasks.settled()
        await self.air.close()
        self._occupied.clear()

    # Inside

    def _radio_of(self, slot: str) -> str:
        return self.station.slots[slot].radio if slot in self.station.slots else ""

    def _tell_beside(self) -> None:
        """Each radio has the consoles and switches of its slots."""
        for name, radio in self._open.items():
            radio.beside = [one for slot in self._occupied if self._radio_of(slot) == name for one in self.beside(slot)]

    def _file(self, slot: str, values: Mapping[str, str]) -> Path:
        for name, value in values.items():
            if set(value) & set("/\\\0") or value in (".", ".."):
                raise UsageError(f"the {name} {value!r} can be no part of the name of a file")
        return self._folder / with_words(self._said.unit, {**values, "slot": slot})

    def _units(self, file: Path, data: bytes) -> list[Simulated]:
        from benchrig.radio.virtual.device_file import air_of, read_devices

        problems = Problems()
        units = read_devices([(str(file), data)], problems)
        problems.raise_if_any()
        asked = air_of(units)
        if asked and asked.conditions and self._said.air is None:
            raise UsageError(
                f"{file} asks for the air '{asked.conditions.name}', and the rehearsal has a kind one: "
                "write air: under rehearsal: in the station file"
            )
        return units

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
                    loop.call_soon_threadsafe(self._look)

        threading.Thread(target=wake, daemon=True).start()

    def _look(self) -> None:
        if not self._over.is_set():
            self.poll()


def _heard_as(radio: str) -> str:
    """What a radio of the station is called on the air."""
    return f"bench {radio}".strip()


def _title(radio: str) -> str:
    return f"virtual:rehearsal, radio {radio}" if radio else "virtual:rehearsal"


def _read(file: Path) -> tuple[bytes, tuple[int, int, int]]:
    """Its stamp first: what is written meanwhile is noticed."""
    stamp = _stamp(file)
    return file.read_bytes(), stamp


def _stamp(file: Path) -> tuple[int, int, int]:
    found = file.stat()
    return found.st_mtime_ns, found.st_size, found.st_ino


def _is_same(there: Occupied) -> bool:
    """Whether its file is there still, with the same in it."""
    try:
        if _stamp(there.file) == there.stamp:
            return True
        data, there.stamp = _read(there.file)
    except OSError:
        return False
    return data == there.data
