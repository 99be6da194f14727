"""The device files of the units of a rehearsal: which one is in a slot, what is in it, whether it is another one by now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from benchrig.errors import PlanError, UsageError
from benchrig.source.problem import Problems
from benchrig.station.rehearsing import Rehearsal
from benchrig.station.told import with_words, words_in

if TYPE_CHECKING:
    from benchrig.radio.virtual.device_spec import Simulated

# Time of its last change, size and number of a file.
Stamp: TypeAlias = tuple[int, int, int]


class Unreadable(Exception):
    """What is wrong with the file of a unit, on one line."""


@dataclass
class UnitFile:
    """A file as it was read, and the devices in it."""

    path: Path
    data: bytes
    stamp: Stamp
    units: list[Simulated]

    def is_same(self) -> bool:
        """Whether it is there still, with the same in it."""
        if (now := stamp_of(self.path)) == self.stamp:
            return True
        try:
            same = now is not None and self.path.read_bytes() == self.data
        except OSError:
            return False
        if same and now is not None:
            self.stamp = now
        return same


class UnitFiles:
    """Those of one rehearsal, seen from a folder. `by_slot`: the slot alone says which file it is."""

    def __init__(self, said: Rehearsal, folder: Path) -> None:
        self._said, self._folder = said, folder
        self.by_slot = set(words_in(said.unit)) <= {"slot"}

    def path(self, slot: str, values: Mapping[str, str]) -> Path:
        """Unreadable for a value that would lead to another folder."""
        for name, value in values.items():
            if set(value) & set("/\\\0") or value in (".", ".."):
                raise Unreadable(f"the {name} {value!r} can be no part of the name of a file")
        return self._folder / with_words(self._said.unit, {**values, "slot": slot})

    def nearby(self) -> list[Simulated]:
        """What is on the air beside the units. Unreadable for a file that is not there, or broken."""
        if not self._said.nearby:
            return []
        path = self._folder / self._said.nearby
        if (found := self.read(path)) is None:
            raise Unreadable(f"{path} is not there")
        return found.units

    def read(self, path: Path) -> UnitFile | None:
        """None when no such file is there; Unreadable for a broken one."""
        try:
            stamp = stamp_of(path)  # first: what is written meanwhile is noticed
            data = path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError as exc:
            raise Unreadable(f"the file of the unit cannot be read: {exc.strerror or exc}") from exc
        try:
            return UnitFile(path, data, stamp or (0, 0, 0), self._units(path, data))
        except PlanError as error:
            raise Unreadable("; ".join(str(problem).splitlines()[0] for problem in error.problems)) from error
        except UsageError as error:
            raise Unreadable(error.message) from error

    def _units(self, path: Path, data: bytes) -> list[Simulated]:
        from benchrig.radio.virtual.device_file import air_of, read_devices

        problems = Problems()
        units = read_devices([(str(path), data)], problems)
        problems.raise_if_any()
        asked = air_of(units)
        if asked and asked.conditions and self._said.air is None:
            raise UsageError(
                f"{path} asks for the air '{asked.conditions.name}', and the rehearsal has a kind one: "
                "write air: under rehearsal: in the station file"
            )
        return units


def stamp_of(path: Path) -> Stamp | None:
    """None when it is not there."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
