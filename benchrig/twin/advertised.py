"""What a device advertised -> the advertising of a device file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec

from benchrig.desk.inspection import AdvertisingSeen
from benchrig.plan.wording import service_name
from benchrig.radio.bumble_stack.advertising import Advertised, parse
from benchrig.radio.virtual.advertising_spec import LONGEST, MOST_OCTETS, SHORTEST, DataSpec
from benchrig.source.problem import Problems
from benchrig.source.references import expressions
from benchrig.source.shape import BAD, Misfit, Reader
from benchrig.source.writing import Bare, Quoted, flow
from benchrig.source.yaml import read_bytes
from benchrig.twin.timing import roundest

# An event comes up to 10 ms after its interval, 5 ms in the mean (Core Vol 6 Part B 4.4.2.2.1).
_DELAY = 0.005


def interval_of(seen: Sequence[float]) -> float | None:
    """Seconds between two events without their delay; what is heard of it are medians."""
    if not seen:
        return None
    middle = sorted(seen)[len(seen) // 2] - _DELAY
    return min(LONGEST, max(SHORTEST, roundest(middle, max(0.003, middle / 50))))


def data_of(payload: bytes | None) -> dict[str, Any] | None:
    """The keys that give just these bytes; what they cannot say as they are."""
    if payload is None or len(payload) > MOST_OCTETS:
        return None
    keys = _keys(parse(payload))
    return keys if _payload(keys) == payload else {"raw": Quoted(payload.hex(" ").upper())}


def told_by_system(seen: AdvertisingSeen) -> tuple[dict[str, Any], dict[str, Any]]:
    """The same where the radio does not tell the payload, but what is in it: as much as fits, the name in the scan response
    where it does not fit beside the rest. ({}, {}) where that is too much or has no words."""
    said = Advertised(name=seen.name or None, name_is_complete=True, tx_power=seen.tx_power)
    said.services = [*seen.services]
    said.manufacturer_data = {int(company, 16): bytes.fromhex(data) for company, data in seen.manufacturer_data.items()}
    said.service_data = {uuid: bytes.fromhex(data) for uuid, data in seen.service_data.items()}
    keys = {"flags": Bare("0x06")} | _keys(said)
    apart = {key: value for key, value in keys.items() if key != "name"}, {"name": keys.get("name", "")}
    ways = [(keys, {}), apart, ({"flags": Bare("0x06")}, apart[1])]
    return next((way for way in ways if all(map(_is_legacy, way))), ({}, {}))


def _is_legacy(keys: dict[str, Any]) -> bool:
    payload = _payload(keys)
    return payload is not None and len(payload) <= MOST_OCTETS


def _keys(said: Advertised) -> dict[str, Any]:
    named = "name" if said.name_is_complete else "short_name"
    keys: dict[str, Any] = {
        "flags": None if said.flags is None else Bare(f"0x{said.flags:02X}"),
        named: said.name,
        "services": [service_name(uuid) for uuid in said.services],
        "tx_power": None if said.tx_power is None else Bare(f"{said.tx_power} dBm"),
        "appearance": None if said.appearance is None else Bare(f"0x{said.appearance:04X}"),
        "service_data": {service_name(uuid): Quoted(data.hex(" ").upper()) for uuid, data in said.service_data.items()},
    }
    for company, data in [*said.manufacturer_data.items()][:1]:
        keys["manufacturer"] = {"company": Bare(f"0x{company:04X}"), "data": Quoted(data.hex(" ").upper())}
    return {key: value for key, value in keys.items() if value not in (None, [], {})}


def _payload(keys: dict[str, Any]) -> bytes | None:
    """What the keys give; None for what cannot be."""
    problems = Problems()
    node = read_bytes(flow(keys).encode("utf-8", "surrogatepass"), "data", problems, "")
    wrong = node is None or problems.found or any(expressions(node))
    spec = BAD if node is None or wrong else Reader(problems).read(node, DataSpec)
    if not isinstance(spec, msgspec.Struct):
        return None
    try:
        return spec.payload()  # type: ignore[attr-defined,no-any-return]
    except (Misfit, ValueError):
        return None
