"""The cells of a list of devices."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from benchrig.terminal import console
from benchrig.text.columns import Column
from benchrig.text.durations import age_text, seconds_text
from benchrig.text.escape import hex_text, plain

if TYPE_CHECKING:
    from benchrig.desk.airlist import HeardDevice
    from benchrig.steps.attribute import Names

# Levels from which a bar is empty, and at which it is full.
FAINT, LOUD = -100.0, -30.0
BAR = 6

NAME = Column("name", 10, 1, most=24)
LEVEL = Column("dBm", 5, 2, right=True)
BARS = Column("", BAR, 4)
SPREAD = Column("spread", 6, 9, right=True)
RATE = Column("per s", 6, 6, right=True)
INTERVAL = Column("interval", 9, 5, right=True)
AGE = Column("age", 6, 3, right=True)
COUNT = Column("reports", 7, 12, right=True)
ADDRESS = Column("address", 17, 7)
KIND = Column("kind", 6, 10, most=22)
SERVICES = Column("services", 10, 8, most=48)
DATA = Column("data", 10, 11, most=60)

ONCE = (NAME, ADDRESS, KIND, LEVEL, SPREAD, COUNT, INTERVAL, SERVICES, DATA)
LIVE = (NAME, LEVEL, BARS, SPREAD, RATE, INTERVAL, AGE, ADDRESS, KIND, SERVICES, DATA)


def cells(device: HeardDevice, names: Names, *, ascii_only: bool = False) -> dict[Column, str]:
    """The text of every column, '' where nothing is known."""
    said = device.advertising
    return {
        NAME: plain(said.name) or "(no name)",
        LEVEL: "" if device.rssi is None else f"{device.rssi:g}",
        BARS: level_bar(device.rssi, ascii_only=ascii_only),
        SPREAD: "" if device.spread is None else f"{device.spread:.1f}",
        RATE: "" if device.rate is None else f"{device.rate:.1f}",
        INTERVAL: seconds_text(said.interval),
        AGE: age_text(device.age),
        COUNT: str(device.count),
        ADDRESS: device.address,
        KIND: kind_text(device),
        SERVICES: services_text(said.services, names),
        DATA: "; ".join(data_parts(said.manufacturer_data, said.service_data, names)),
    }


def printed(devices: Sequence[HeardDevice], names: Names) -> list[str]:
    """The table in the width of the terminal, or for a pipe as wide as it must be."""
    from benchrig.text.columns import fitting, natural, table_lines

    screen = console()
    rows = [[plain(text, 60) for text in map(cells(device, names).__getitem__, ONCE)] for device in devices]
    width = shutil.get_terminal_size().columns
    columns = fitting(ONCE, width, rows, tight=True) if screen.is_terminal else natural(ONCE, rows)
    lines = table_lines(columns, ONCE, rows, ascii_only=screen.options.ascii_only)
    return [line.rstrip() for line in lines] if devices else []


def report_line(said: Mapping[str, Any], names: Names) -> str:
    """One report, as data, for people: when, how strong, who, and what it says."""
    level = "?" if said["rssi"] is None else said["rssi"]
    head = f"{said['seconds']:10.3f} s  {level:>4} dBm  {said['address']}  {said.get('name', '(no name)')}"
    services = services_text(said.get("services", ()), names)
    data = "; ".join(data_parts(said.get("manufacturer_data", {}), said.get("service_data", {}), names))
    return plain("  ".join(part for part in (head, services, data) if part))


def kind_text(device: HeardDevice) -> str:
    """What kind of address it is, or which key it belongs to."""
    if not device.key:
        return device.address_kind
    count = len(device.addresses)
    return f"key {device.key}, {count} address{'es' if count > 1 else ''}"


def services_text(uuids: Iterable[str], names: Names) -> str:
    return ", ".join(names.label(uuid, "service") for uuid in uuids)


def data_parts(manufacturer_data: Mapping[str, str], service_data: Mapping[str, str], names: Names) -> list[str]:
    """Company identifiers and services with their data; all as hex text."""
    parts = [f"{company}: {hex_text(data)}" for company, data in manufacturer_data.items()]
    parts += [f"{names.label(uuid, 'service')}: {hex_text(data)}" for uuid, data in service_data.items()]
    return parts


def level_bar(level: float | None, width: int = BAR, *, ascii_only: bool = False) -> str:
    """A bar of cells, full at LOUD and empty at FAINT, or where no level is known."""
    level = FAINT if level is None else level
    filled = round(width * min(1.0, max(0.0, (level - FAINT) / (LOUD - FAINT))))
    full, empty = ("#", ".") if ascii_only else ("▬", "·")
    return full * filled + empty * (width - filled)
