"""What a unit advertised, as far as the steps of a record have read it."""

from __future__ import annotations

from typing import Any

from benchrig.radio.bumble_stack.advertising import Advertised as Said
from benchrig.radio.bumble_stack.advertising import build, structures_of
from benchrig.radio.virtual.words import ServiceUuid
from benchrig.record.events import DeviceSeen
from benchrig.record.model import Record
from benchrig.replay.listening import LATER
from benchrig.replay.story import Advertised
from benchrig.source.shape import Misfit

GENERAL_DISCOVERABLE = 0x06


def advertised(record: Record, seen: DeviceSeen, key: str, usual: bytes) -> Advertised:
    """`usual`: the data of a unit of which nothing but its name is known."""
    found = _found(record, key)
    said = Said(flags=GENERAL_DISCOVERABLE)
    name = found.get("name") or seen.name
    if name:
        said.name, said.name_is_complete = name, True
    if isinstance(found.get("tx_power"), (int, float)):
        said.tx_power = int(found["tx_power"])
    said.services = [uuid for label in found.get("services") or [] if (uuid := _service(label))]
    for entry in found.get("service_data") or []:
        label, _, data = entry.partition("=")
        if uuid := _service(label):
            said.service_data[uuid] = bytes.fromhex(data)
    if raw := found.get("manufacturer_data"):
        octets = bytes.fromhex(raw) if isinstance(raw, str) else bytes(raw)
        said.manufacturer_data[int.from_bytes(octets[:2], "little")] = octets[2:]
    interval = found.get("interval")
    measured = max(0.02, float(interval) - LATER / 2) if isinstance(interval, (int, float)) else None
    level = found.get("rssi")
    _select(said, record, key)
    return _split(said, usual, measured, float(level) if isinstance(level, (int, float)) else None)


def _select(said: Said, record: Record, key: str) -> None:
    """The unit satisfied the selection of the plan: what that asks for is advertised."""
    planned = record.run.devices.get(key)
    select = planned.select if planned else {}
    for label in _list(select.get("services")):
        if (uuid := _service(str(label))) and uuid not in said.services:
            said.services.append(uuid)
    wanted = select.get("manufacturer")
    if isinstance(wanted, dict) and not said.manufacturer_data:
        said.manufacturer_data[int(str(wanted["company"]), 0)] = bytes.fromhex(str(wanted.get("data") or ""))


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [] if value is None else [value]


def _found(record: Record, key: str) -> dict[str, Any]:
    """The first of each reading that a scan had."""
    found: dict[str, Any] = {}
    for each in record.executions:
        if each.planned.kind == "scan" and each.planned.device == key:
            for reading in each.readings:
                value = reading.raw if reading.name == "manufacturer_data" else reading.value
                if value is not None:
                    found.setdefault(reading.name, value)
    return found


def _split(said: Said, usual: bytes, interval: float | None, level: float | None) -> Advertised:
    """In one packet, or the name in the answer to a scan request where it does not fit."""
    try:
        whole = build(structures_of(said))
        if len(whole) <= 31:
            return Advertised(whole, b"", interval, level=level)
        name, said.name = said.name, None
        rest = build(structures_of(said))
        response = build(structures_of(Said(name=name, name_is_complete=True)))
        return Advertised(rest, response, interval, level=level)
    except ValueError:
        return Advertised(usual, b"", interval, level=level)


def _service(label: str) -> str | None:
    try:
        return str(ServiceUuid.from_source(label))
    except Misfit:
        return None
