"""All that is known of one device on the air, as lines of a live view."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.cli.scan_table import data_parts, kind_text, level_bar
from benchrig.desk.airlist import AirRow, HeardDevice, described, payload_fields
from benchrig.text.chart import scale, strip
from benchrig.text.durations import age_text, seconds_text
from benchrig.text.escape import hex_text
from benchrig.text.wrapping import Line, wrapped_spans

if TYPE_CHECKING:
    from benchrig.steps.attribute import Names

_LABEL = 14
_CHART = 4


def detail_lines(row: AirRow, now: float, names: Names, width: int, *, ascii_only: bool = False) -> list[Line]:
    """Facts, a chart of the levels, and the payload; wrapped in so many cells."""
    facts = [line for fact in _facts(row, now, ascii_only) for line in wrapped_spans(fact, width, _LABEL)]
    payload = [line for part in _payload_lines(row, names) for line in wrapped_spans(part, width, 6)]
    return [*facts, *_level_lines(row, width, ascii_only), *payload]


def _level_lines(row: AirRow, width: int, ascii_only: bool) -> list[Line]:
    levels = list(row.sighting.rssi)[-max(1, width - _LABEL) :]
    if not levels:
        return []
    drawn = strip(levels, _CHART, ascii_only=ascii_only)
    marks = scale(f"{min(levels)} dBm", f"{max(levels)} dBm", _CHART)
    return [[(f"{mark:>{_LABEL - 1}} ", "dim"), (line, "good")] for mark, line in zip(marks, drawn, strict=True)]


def _facts(row: AirRow, now: float, ascii_only: bool) -> list[Line]:
    """The device in words."""
    device = described(row, now)
    said = device.advertising
    rate = "" if device.rate is None else f", {device.rate:.1f} a second"
    facts = {
        "name": said.name or "(no name)",
        "address": f"{device.address}  {kind_text(device)}",
        "addresses": ", ".join(device.addresses),
        "level": _level_text(row, device, ascii_only),
        "reports": f"{device.count}{rate}, every {seconds_text(said.interval)}" if said.interval else f"{device.count}",
        "last heard": f"{age_text(device.age)} ago",
        "connectable": {True: "yes", False: "no", None: ""}[said.connectable],
        "tx power": "" if said.tx_power is None else f"{said.tx_power} dBm",
    }
    return [_fact(label, text) for label, text in facts.items() if text]


def _level_text(row: AirRow, device: HeardDevice, ascii_only: bool) -> str:
    if device.rssi is None:
        return "unknown: the radio did not measure it"
    spread = "" if device.spread is None else f", spread {device.spread:.1f} dB"
    newest = f"{row.sighting.rssi[-1]} dBm, median {device.rssi:g} dBm"
    return f"{newest}{spread}  {level_bar(device.rssi, ascii_only=ascii_only)}"


def _payload_lines(row: AirRow, names: Names) -> list[Line]:
    """What it sends, field by field; where the radio tells no payload, what it says of it."""
    fields = payload_fields(row.sighting)
    if not fields:
        return _said_lines(described(row, 0.0), names)
    lines: list[Line] = []
    for number, (where, each) in enumerate(fields):
        if number == 0 or fields[number - 1][0] != where:
            lines.append([(where, "bold")])
        raw = hex_text(each.raw.hex().upper())
        said = each.wrong or each.text
        lines.append(
            [(f"{each.offset:>4}  ", "dim"), (f"{each.name or f'type 0x{each.type:02X}'}: ", ""),
             (said, "bad" if each.wrong else ""), (f"  [{raw}]", "dim")]
        )  # fmt: skip
    return lines


def _said_lines(device: HeardDevice, names: Names) -> list[Line]:
    said = device.advertising
    services = [_fact("service", names.label(uuid, "service")) for uuid in said.services]
    data = data_parts(said.manufacturer_data, said.service_data, names)
    return [*services, *[_fact("data", part) for part in data]]


def _fact(label: str, text: str) -> Line:
    return [(f"{label:<{_LABEL}}", "dim"), (text, "")]
