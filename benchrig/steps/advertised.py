"""What a unit advertises, as readings: of all that was heard of it, and of the newest report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from benchrig.radio.scan import Report, Sighting
from benchrig.source.problem import suggest
from benchrig.steps.attribute import Names
from benchrig.steps.base import ReadingType
from benchrig.steps.waiting import Goal
from benchrig.values.advertising import split
from benchrig.values.limit import Limit

if TYPE_CHECKING:
    from benchrig.radio.unit import Unit
    from benchrig.steps.bench import Bench

# Devices that are watched at a time: others give way, and come again with their next report.
_MOST_WATCHED = 1024


def _no_address_type(word: str) -> tuple[str, str] | None:
    known = ("public", "random")
    return None if word in known else (f"an address type is never '{word}'", suggest(word, known))


_FLAGS, _APPEARANCE = 0x01, 0x19  # Assigned Numbers 2.3, common data types

# always, when something of what was heard was for all, never
DIRECTED = ("always", "sometimes", "never")
ADVERTISED: dict[str, ReadingType] = {
    "rssi": ReadingType("number", "dBm", "median received level", levels=True),
    "name": ReadingType("text", "", "local name"),
    "services": ReadingType("list", "", "advertised services by name", uuids=True),
    "manufacturer_data": ReadingType("bytes", "", "company identifier (little-endian) and data"),
    "service_data": ReadingType("list", "", "service names with their data, 'name=HEX'"),
    "tx_power": ReadingType("number", "dBm", "advertised transmit power"),
    "flags": ReadingType("number", "", "byte of its flags"),
    "appearance": ReadingType("number", "", "advertised appearance"),
    "data": ReadingType("bytes", "", "the advertising data of the newest report, byte by byte"),
    "scan_response": ReadingType("bytes", "", "the data of the newest scan response, byte by byte"),
    "directed": ReadingType("text", "", "whether it advertised to this bench alone", options=DIRECTED),
    "address_type": ReadingType("text", "", "'public' or 'random'", wrong=_no_address_type),
    "address": ReadingType("text", "", "device address as the radio gives it"),
}


def advertised(names: Names, unit: Sighting) -> dict[str, Any]:
    """The readings of what was heard; None for what the unit does not say."""
    data = b"".join(company.to_bytes(2, "little") + rest for company, rest in unit.manufacturer_data.items())
    return {
        "rssi": unit.median_rssi,
        "name": unit.name or None,
        "services": [names.label(uuid, "service") for uuid in unit.services],
        "manufacturer_data": data or None,
        "service_data": [f"{names.label(uuid, 'service')}={part.hex().upper()}" for uuid, part in unit.service_data.items()],
        "tx_power": unit.tx_power,
        "flags": _number(unit, _FLAGS),
        "appearance": _number(unit, _APPEARANCE),
        "data": unit.payload,
        "scan_response": unit.scan_response or (None if unit.payload is None else b""),
        "directed": _directed(unit),
        "address_type": unit.address_type or None,
        "address": unit.address,
    }  # fmt: skip


def _number(unit: Sighting, kind: int) -> int | None:
    """Of the first structure of this type, in its data or its scan response, which host radios do not show."""
    structures = [one for payload in (unit.payload, unit.scan_response) if payload for one in split(payload).structures]
    found = next((one.data for one in structures if one.kind == kind and one.data), None)
    return None if found is None else int.from_bytes(found, "little")


def _directed(unit: Sighting) -> str | None:
    if not unit.directed:
        return None
    return DIRECTED[1] if len(unit.directed) > 1 else DIRECTED[0] if True in unit.directed else DIRECTED[2]


def report_sighting(bench: Bench, unit: Sighting) -> None:
    """The readings of all that was heard of the unit."""
    if unit.median_rssi is None:
        bench.not_measured("rssi", "the radio reported no RSSI of the unit")
    for name, value in advertised(bench.names, unit).items():
        if name == "rssi" or bench.wanted(name):
            raw = (value or b"") if ADVERTISED[name].kind == "bytes" else None
            levels = unit.levels if name == "rssi" else ()
            bench.reading(name, value, ADVERTISED[name].unit, raw=raw, samples=levels)
    for name, value, unit_symbol in (("count", unit.count, ""), ("interval", unit.interval, "s")):
        if bench.wanted(name):
            bench.reading(name, value, unit_symbol)


@dataclass
class _Watched:
    """One device: what it advertises now, and when that was first what is waited for."""

    goal: Goal
    now: Sighting
    answers: bool = False
    met_at: float | None = None

    def take(self, report: Report) -> None:
        """A report that lacks the scan response the device has says nothing about what stands in that."""
        partial = self.answers and not report.scan_response
        self.answers = self.answers or bool(report.scan_response)
        if not partial:
            self.now = Sighting(report.address)
        self.now.add(replace(report, name_is_short=False) if report.name and not self.now.name else report)
        self.now.rssi.clear()
        if report.rssi is not None:
            self.now.rssi.append(report.rssi)


@dataclass
class Watching:
    """Looks at each report for what `until` says."""

    names: Names
    until: Mapping[str, Limit]
    _devices: dict[tuple[str, str], _Watched] = field(default_factory=dict)

    def hear(self, report: Report) -> None:
        key = report.address, report.address_type
        watched = self._devices.get(key)
        if watched is None:
            if len(self._devices) >= _MOST_WATCHED:
                del self._devices[next(iter(self._devices))]
            watched = self._devices[key] = _Watched(Goal(self.until, ADVERTISED), Sighting(report.address))
        if watched.met_at is None:
            watched.take(report)
            found = {name: value for name, value in advertised(self.names, watched.now).items() if value is not None}
            watched.met_at = report.at if watched.goal.is_met(found) else None

    def is_enough(self, sighting: Sighting) -> bool:
        watched = self._devices.get((sighting.address, sighting.address_type))
        return watched is not None and watched.met_at is not None

    def met_at(self, unit: Unit) -> float | None:
        """When the unit satisfied it."""
        return min((each.met_at for each in self._of(unit) if each.met_at is not None), default=None)

    def unmet(self, unit: Unit) -> str:
        """What it lacks, in words."""
        goals = [each.goal for each in self._of(unit)] or [Goal(self.until, ADVERTISED)]
        return goals[-1].unmet("the unit advertises none")

    def _of(self, unit: Unit) -> list[_Watched]:
        return [each for each in self._devices.values() if unit.is_same(each.now)]
