"""scan: listen for the unit, and judge what it advertises."""

from __future__ import annotations

import fnmatch
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal

import msgspec

from benchrig.errors import AmbiguousDevice, ConnectFailed, DeviceNotFound, StationError
from benchrig.radio.scan import lead
from benchrig.source.problem import printable, suggest
from benchrig.steps.attribute import Names, say_services
from benchrig.steps.base import ReadingType, Step
from benchrig.values.quantity import Duration

if TYPE_CHECKING:
    from benchrig.radio.scan import Ear, Selection, Sighting
    from benchrig.steps.bench import Bench

# How often the bench looks whether the unit has been heard; `found_after` itself comes from the report's own time.
_LOOK_EVERY = 0.05
_CANDIDATES_SHOWN = 6
_NO_LEVEL = "use a controller that measures the RSSI of advertising, or leave the level out"


class Scan(Step, kw_only=True):
    """Listen for `for`, and on until the selected unit is heard or `within` is over."""

    verb: ClassVar[str] = "scan"
    within_default: ClassVar[float] = 10.0
    needs_link: ClassVar[bool] = False

    scan: None
    for_: Duration = msgspec.field(name="for", default_factory=lambda: Duration.of(2))
    mode: Literal["active", "passive"] = "active"

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        for name in ("services", "service_data"):
            say_services(names, self.limits.get(name), ("expect", name))
        return READINGS

    @property
    def deadline(self) -> float:
        return self.within.seconds if self.within else (self.for_.seconds + self.within_default) * self.attempts

    async def run(self, bench: Bench) -> None:
        unit = await find_unit(bench, self.for_.seconds, active=self.mode == "active")
        report_sighting(bench, unit)


def _no_address_type(word: str) -> tuple[str, str] | None:
    known = ("public", "random")
    return None if word in known else (f"an address type is never '{word}'", suggest(word, known))


READINGS: dict[str, ReadingType] = {
    "found_after": ReadingType("number", "s", "from the start of the scan to the first report of the unit"),
    "count": ReadingType("number", "", "reports of the unit, scan responses included"),
    "rssi": ReadingType("number", "dBm", "median received level"),
    "interval": ReadingType("number", "s", "median gap between advertising events"),
    "name": ReadingType("text", "", "local name"),
    "services": ReadingType("list", "", "advertised services by name"),
    "manufacturer_data": ReadingType("bytes", "", "company identifier (little-endian) and data"),
    "service_data": ReadingType("list", "", "service names with their data, 'name=HEX'"),
    "tx_power": ReadingType("number", "dBm", "advertised transmit power"),
    "address_type": ReadingType("text", "", "'public' or 'random'", wrong=_no_address_type),
    "address": ReadingType("text", "", "device address as the radio gives it"),
}


async def find_unit(bench: Bench, listen: float, *, active: bool = True) -> Sighting:
    """Scan until the unit is heard, at least for `listen` seconds. DeviceNotFound, AmbiguousDevice."""
    started = bench.now()
    give_up = started + bench.time_left
    async with bench.scanning(active=active) as ear:
        while True:
            now = bench.now()
            if now >= min(started + listen, give_up) and (ear.selected(bench.selection) or now >= give_up):
                break
            await bench.pause(min(_LOOK_EVERY, max(0.0, give_up - now)))
    unit = choose_unit(ear, bench.selection, bench.now() - started)
    bench.found(unit)
    if bench.wanted("found_after"):
        bench.reading("found_after", round(unit.first_at - started, 6), "s")
    return unit


@dataclass(frozen=True)
class Advice:
    """What to do where the selection stands, when `nobody` answers it (what is to be checked) or `several` do."""

    nobody: str
    several: str


_OF_PLAN = Advice(
    "device: select: fits it",
    "switch the others off, say which one with --device, or narrow device: select:, for example with nearest: 6 dB",
)
_NARROWED = Advice("it fits device: select: and --device both", "switch the others off, or give --device an address")


def choose_unit(ear: Ear, selection: Selection, listened: float, advice: Advice | None = None) -> Sighting:
    """The one device that answers the selection. DeviceNotFound, AmbiguousDevice."""
    advice = advice or (_NARROWED if selection.also else _OF_PLAN)
    candidates = ear.selected(selection)
    unit = selection.chosen(candidates)
    if unit is not None:
        return unit
    if candidates:
        shown = "; ".join(map(_label, candidates[:_CANDIDATES_SHOWN]))
        close = "" if selection.nearest is None else f" ({_lead_text(candidates)})"
        raise AmbiguousDevice(
            f"ambiguous: {len(candidates)} devices answer the selection: {shown}{close}", advice=advice.several
        )
    if without_level := [s for s in ear.selected(selection.at_any_level) if s.median_rssi is None]:
        raise StationError(f"{_label(without_level[0])}: the radio told no level to select by", advice=_NO_LEVEL)
    others = sorted(ear.heard.values(), key=lambda s: -s.strength)[:_CANDIDATES_SHOWN]
    heard = "others were: " + "; ".join(map(_label, others)) if others else "nothing else was"
    raise DeviceNotFound(
        f"the unit was not heard in {listened:.3g} s ({heard})",
        advice=in_other_letters(ear, selection)
        or f"check that the unit is powered and advertising, and that {advice.nobody}",
    )


def _lead_text(candidates: Sequence[Sighting]) -> str:
    leads_by = lead(candidates)
    return "the level of one is not known" if leads_by is None else f"the nearest leads by {leads_by:g} dB only"


def in_other_letters(ear: Ear, selection: Selection) -> str:
    """A name that was heard and fits but for its capitals; '' when there is none."""
    for pattern in selection.names:
        for name in sorted({sighting.name for sighting in ear.heard.values()}):
            if fnmatch.fnmatchcase(name, pattern):
                break
            if fnmatch.fnmatchcase(name.lower(), pattern.lower()):
                return f"did you mean '{printable(name)}'? Capitals count"
    return ""


def check_connectable(unit: Sighting) -> None:
    """See that the device takes connections, where the radio knows. ConnectFailed."""
    if unit.takes_no_connections:
        raise ConnectFailed(
            f"{printable(unit.name) or unit.address} does not take connections: what it advertises says so",
            advice="make it connectable (a button, or the mode of its firmware) and try again",
        )


def _label(sighting: Sighting) -> str:
    return f"{printable(sighting.name) or '(no name)'} {sighting.address} {sighting.level_text}"


def report_sighting(bench: Bench, unit: Sighting) -> None:
    """The readings of what the unit advertised."""
    if unit.median_rssi is None and bench.wanted("rssi"):
        raise StationError(f"the radio told no level of {printable(unit.name) or unit.address}", advice=_NO_LEVEL)
    bench.reading("rssi", unit.median_rssi, "dBm")
    for name, value, unit_symbol in (
        ("count", unit.count, ""),
        ("interval", unit.interval, "s"),
        ("name", unit.name or None, ""),
        ("services", [bench.names.label(uuid, "service") for uuid in unit.services], ""),
        ("service_data", _service_data(bench.names, unit), ""),
        ("tx_power", unit.tx_power, "dBm"),
        ("address_type", unit.address_type or None, ""),
        ("address", unit.address, ""),
    ):
        if bench.wanted(name):
            bench.reading(name, value, unit_symbol)
    if bench.wanted("manufacturer_data"):
        data = b"".join(company.to_bytes(2, "little") + rest for company, rest in unit.manufacturer_data.items())
        bench.reading("manufacturer_data", data or None, raw=data)


def _service_data(names: Names, unit: Sighting) -> list[str]:
    return [f"{names.label(uuid, 'service')}={data.hex().upper()}" for uuid, data in unit.service_data.items()]
