"""What the plan expects of what its units advertise."""

from __future__ import annotations

import math
from statistics import median
from typing import Any

from benchrig.desk.inspection import AdvertisingSeen
from benchrig.draft.evidence import Evidence
from benchrig.draft.naming import Naming
from benchrig.draft.streams import time_text
from benchrig.propose.proposal import Grounds, Proposal
from benchrig.propose.texts import pattern_of
from benchrig.source.problem import counted
from benchrig.source.writing import Bare
from benchrig.values.advertising import split

_FLAGS = 0x01  # Assigned Numbers 2.3, common data types
# A unit may be received so much weaker or stronger than those that were seen.
LEVEL_ROOM = 20
# It may advertise half as much again apart, and twice as often: more is another setting.
INTERVAL_ROOM = 1.5
INTERVAL_SHARE = 0.5
# A scan is long enough for so many advertising events of the slowest unit that passes, and for its first one.
EVENTS = 4
LEAST_SCAN = 2

_ORDER = (
    "rssi",
    "interval",
    "name",
    "services",
    "manufacturer_data",
    "service_data",
    "tx_power",
    "flags",
    "address_type",
)


def scan_limits(evidence: Evidence, naming: Naming) -> dict[str, Proposal]:
    """Limits on the readings of the scan step."""
    heard = evidence.advertised
    if not heard:
        return {}
    units = len({look.unit for look in evidence.looks})
    seen = f"{counted(len(heard), 'scan')} of {counted(units, 'unit')}"
    limits = {**_numbers(heard, seen, units), **_texts(heard, naming, seen, Grounds(units)), **_types(evidence, seen),
              **_flags(heard, seen, Grounds(units))}  # fmt: skip
    return {name: limits[name] for name in _ORDER if name in limits}


def scan_seconds(evidence: Evidence) -> int:
    """How long the plan listens: a limit on the interval needs some advertising events to hold it against."""
    judged = "scan.interval" not in evidence.lacks
    intervals = [each.interval for each in evidence.advertised if each.interval and judged]
    return max(LEAST_SCAN, math.ceil(max(intervals, default=0.0) * INTERVAL_ROOM * EVENTS))


def _numbers(heard: list[AdvertisingSeen], seen: str, units: int) -> dict[str, Proposal]:
    limits = {}
    chosen = Grounds(units, shown=False)
    levels = [each.rssi for each in heard if each.rssi is not None]
    if levels:
        low, high = math.floor(min(levels) - LEVEL_ROOM), math.ceil(max(levels) + LEVEL_ROOM)
        reason = f"{seen}, median {median(levels):g} dBm; {LEVEL_ROOM} dB below the weakest and above the strongest"
        limits["rssi"] = Proposal({"min": Bare(f"{low} dBm"), "max": Bare(f"{high} dBm")}, reason, chosen)
    intervals = [each.interval for each in heard if each.interval]
    if intervals:
        reason = f"{seen}, {time_text(min(intervals))} to {time_text(max(intervals))}; minus and plus 50 %"
        ends = {"min": time_text(min(intervals) * INTERVAL_SHARE), "max": time_text(max(intervals) * INTERVAL_ROOM)}
        limits["interval"] = Proposal(ends, reason, chosen)
    powers = {each.tx_power for each in heard}
    if len(powers) == 1 and None not in powers:
        limits["tx_power"] = Proposal({"equals": Bare(f"{powers.pop()} dBm")}, f"the same in {seen}", Grounds(units))
    return limits


def _flags(heard: list[AdvertisingSeen], seen: str, grounds: Grounds) -> dict[str, Proposal]:
    """What all of them say with their flags, where the radio shows the data whole."""
    payloads = [bytes.fromhex(each.payload) for each in heard if each.payload is not None]
    flags = [next((one.data for one in split(payload).structures if one.kind == _FLAGS), b"") for payload in payloads]
    if not flags or len(flags) < len(heard) or len(flags[0]) != 1 or _same(flags) is None:
        return {}
    return {"flags": Proposal({"equals": Bare(f"0x{flags[0][0]:02X}")}, f"the same in {seen}", grounds)}


def _types(evidence: Evidence, seen: str) -> dict[str, Proposal]:
    """Public or random, where the radio says."""
    types = {look.address_type for look in evidence.looks if look.advertising is not None}
    if len(types) != 1 or types == {""}:
        return {}
    return {"address_type": Proposal({"equals": types.pop()}, f"the same in {seen}", Grounds(len(evidence.units)))}


def _texts(heard: list[AdvertisingSeen], naming: Naming, seen: str, grounds: Grounds) -> dict[str, Proposal]:
    limits = {}
    names = [each.name for each in heard]
    if all(names):
        limits["name"] = Proposal({"matches": pattern_of(names)}, f"{seen}: a pattern", grounds)
    services = naming.in_readings(u for u in heard[0].services if all(u in each.services for each in heard))
    if services:
        limits["services"] = Proposal({"contains": services}, f"the same in {seen}", grounds)
    if (data := _same([_manufacturer(each) for each in heard])) is not None:
        limits["manufacturer_data"] = data and Proposal({"equals": data}, f"the same in {seen}", grounds)
    items = [f"{s}={data}" for uuid, data in heard[0].service_data.items() for s in naming.in_readings([uuid])]
    if items and _same([sorted(each.service_data.items()) for each in heard]):
        limits["service_data"] = Proposal({"contains": items}, f"the same in {seen}", grounds)
    return {name: proposal for name, proposal in limits.items() if proposal}


def _manufacturer(seen: AdvertisingSeen) -> str:
    """Company identifier, low byte first, and data: as the scan step reads it."""
    parts = [bytes.fromhex(company)[::-1] + bytes.fromhex(data) for company, data in seen.manufacturer_data.items()]
    return b"".join(parts).hex(" ").upper()


def _same(values: list[Any]) -> Any:
    return values[0] if all(value == values[0] for value in values) else None
