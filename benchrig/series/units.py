"""Whether several runs were of one unit, as far as that can be told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from benchrig.record.model import Record
from benchrig.report import explain

# The two highest bits of a static random address are set; other random addresses change (Core 5.4, Vol 6, Part B, 1.3.2).
_STATIC = "CDEF"


@dataclass(frozen=True)
class SeenUnit:
    """What tells a unit from others: its serial number, and an address that stays."""

    serial: str
    address: str
    title: str

    def is_surely(self, other: SeenUnit) -> bool:
        """Whether it is the same unit, which one of the runs may know less of."""
        alike = (self.serial and self.serial == other.serial) or (self.address and self.address == other.address)
        return bool(alike) and not self.differs(other)

    def differs(self, other: SeenUnit) -> bool:
        if self.serial and other.serial:
            return self.serial != other.serial
        return bool(self.address and other.address) and self.address != other.address


def seen_unit(record: Record) -> SeenUnit | None:
    """The unit of a run; None where none was seen, and of a plan with several devices."""
    unit = record.unit
    if unit is None or explain.several(record):
        return None
    stays = unit.address_type == "public" or unit.address[:1].upper() in _STATIC
    return SeenUnit(unit.serial, unit.address if stays else "", explain.unit_title(record))


def different(units: Iterable[SeenUnit | None]) -> list[str]:
    """The titles of units of which each differs from all before; none where there is one unit only."""
    found: list[SeenUnit] = []
    for unit in units:
        if unit is not None and all(unit.differs(other) for other in found):
            found.append(unit)
    return [unit.title for unit in found] if len(found) > 1 else []


def titles(units: Iterable[tuple[SeenUnit | None, str]]) -> list[str]:
    """Each unit once, by the title that has its serial number where any does; the titles of runs without one unit as they are."""
    found: dict[str, SeenUnit | None] = {}
    for unit, title in sorted(units, key=lambda each: not (each[0] and each[0].serial)):
        if unit is None or not any(other and unit.is_surely(other) for other in found.values()):
            found.setdefault(title, unit)
    return [*found]
