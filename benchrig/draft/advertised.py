"""What the plan expects of what its units advertise."""

from __future__ import annotations

import math
from statistics import median
from typing import Any

from benchrig.desk.inspection import AdvertisingSeen
from benchrig.draft.evidence import Evidence
from benchrig.draft.judged import Proposal, counted
from benchrig.draft.naming import Naming
from benchrig.draft.streams import time_text
from benchrig.draft.texts import pattern_of
from benchrig.source.writing import Bare

# A unit may be received so much weaker than those that were seen, and advertise half as much again apart.
LEVEL_ROOM = 20
INTERVAL_ROOM = 1.5


def scan_limits(evidence: Evidence, naming: Naming) -> dict[str, Proposal]:
    """Limits on the readings of the scan step."""
    heard = _heard(evidence)
    if not heard:
        return {}
    units = len({look.unit for look in evidence.looks})
    seen = f"{counted(len(heard), 'scan')} of {counted(units, 'unit')}"
    limits = {**_levels(heard, seen), **_texts(heard, naming, seen, guess=units == 1)}
    return {name: limits[name] for name in _ORDER if name in limits}


_ORDER = ("rssi", "interval", "name", "services", "manufacturer_data", "service_data", "tx_power")


def _levels(heard: list[AdvertisingSeen], seen: str) -> dict[str, Proposal]:
    limits = {}
    levels = [each.rssi for each in heard if each.rssi is not None]
    if levels:
        least = math.floor(min(levels) - LEVEL_ROOM)
        reason = f"{seen}, median {median(levels):g} dBm; {LEVEL_ROOM} dB below the weakest"
        limits["rssi"] = Proposal({"min": Bare(f"{least} dBm")}, reason, guess=True)
    intervals = [each.interval for each in heard if each.interval]
    if intervals:
        reason = f"{seen}, at most {time_text(max(intervals))}; half as much again"
        limits["interval"] = Proposal({"max": time_text(max(intervals) * INTERVAL_ROOM)}, reason, guess=True)
    powers = {each.tx_power for each in heard}
    if len(powers) == 1 and None not in powers:
        limits["tx_power"] = Proposal({"equals": Bare(f"{powers.pop()} dBm")}, f"the same in {seen}")
    return limits


def _texts(heard: list[AdvertisingSeen], naming: Naming, seen: str, *, guess: bool) -> dict[str, Proposal]:
    limits = {}
    names = [each.name for each in heard]
    if all(names):
        limits["name"] = Proposal({"matches": pattern_of(names)}, f"{seen}: a pattern", guess)
    services = naming.in_readings(u for u in heard[0].services if all(u in each.services for each in heard))
    if services:
        limits["services"] = Proposal({"contains": services}, f"the same in {seen}", guess)
    if (data := _same([_manufacturer(each) for each in heard])) is not None:
        limits["manufacturer_data"] = data and Proposal({"equals": data}, f"the same in {seen}", guess)
    items = [f"{s}={data}" for uuid, data in heard[0].service_data.items() for s in naming.in_readings([uuid])]
    if items and _same([sorted(each.service_data.items()) for each in heard]):
        limits["service_data"] = Proposal({"contains": items}, f"the same in {seen}", guess)
    return {name: proposal for name, proposal in limits.items() if proposal}


def _manufacturer(seen: AdvertisingSeen) -> str:
    """Company identifier, low byte first, and data: as the scan step reads it."""
    parts = [bytes.fromhex(company)[::-1] + bytes.fromhex(data) for company, data in seen.manufacturer_data.items()]
    return b"".join(parts).hex(" ").upper()


def _same(values: list[Any]) -> Any:
    return values[0] if all(value == values[0] for value in values) else None


def _heard(evidence: Evidence) -> list[AdvertisingSeen]:
    return [look.advertising for look in evidence.looks if look.advertising is not None]
