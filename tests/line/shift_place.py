"""The place of the shift: a station of four slots, its plans, and what is put into the slots.

Slots 1 and 2 have a radio each; 3 and 4 share one, so that the label of their units is scanned again when they are taken out.
What is in a slot is the file in/SLOT.yaml, whatever label is scanned for it.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

BADGE, OTHER_BADGE = "P-0007", "P-0008"
OWN_RADIO, SHARED = ("1", "2"), ("3", "4")
STATION = """station: cold chain 4
radios: {left: {radio: virtual}, right: {radio: virtual}, back: {radio: virtual, links: 2}}
slots:
  '1': {radio: left, label: SLOT-1}
  '2': {radio: right, label: SLOT-2}
  '3': {radio: back, label: SLOT-3}
  '4': {radio: back, label: SLOT-4}
results: results
history: history.sqlite
people: 'P-\\d{4}'
takt: 30 s
rehearsal: {unit: 'in/{slot}.yaml'}
products:
  logger: {barcode: '(?P<serial>L\\d{6})', plan: quick.yaml}
  addressed logger: {barcode: '(?P<serial>A\\d{6}) (?P<address>[0-9A-F:]{17})', plan: quick.yaml}
  display logger: {barcode: '(?P<serial>D\\d{6})', plan: display.yaml}
  programmed logger: {barcode: '(?P<serial>P\\d{6})', plan: programmed.yaml}
  first lot: {barcode: '(?P<serial>L\\d{6})-[AB]', plan: quick.yaml}
  second lot: {barcode: '(?P<serial>L\\d{6})-[BC]', plan: quick.yaml}
references:
  golden logger: {label: L000001, limits: golden.yaml}
  logger with an old battery: {label: L000002, fails: read battery level, slots: any}
retest: {most: 1, causes: [link]}
"""
_STEPS = """steps:
  - scan:
    for: 300 ms
    expect: {rssi: {min: -70 dBm}}
  - connect:
    attempts: 2
  - read: serial number
    expect: {value: {equals: '${serial}'}}
  - read: battery level
    expect: {value: {min: 20 %}}
"""
_LAST = """  - wait: 1 s
    name: let it settle
  - read: temperature
    expect: {value: {min: 2 °C, max: 8 °C}}
"""
_HEAD = "device: {{select: {{name: BXL}}}}\ngiven: {{serial: {{matches: '{letter}\\d{{6}}'}}}}\n"
QUICK = "plan: Box logger\n" + _HEAD.format(letter="[LA]") + _STEPS + _LAST
GOLDEN = """limit_set: Golden box logger
plan: Box logger
version: 1
owner: Cold chain 4
reason: It has been measured often.
limits: {read temperature: {value: {min: 4 °C, max: 6 °C}}}
"""
CAUTION = "The probe is cold."
QUESTION = "Is the display whole?"
DISPLAY = (
    f"plan: Display logger\ncaution: {CAUTION}\n"
    + _HEAD.format(letter="D")
    + _STEPS
    + f"  - write: temperature\n    value: 4 °C\n  - ask: {QUESTION}\n    name: the display\n    expect: {{answer: {{equals: true}}}}\n"
    + _LAST
    + "finally:\n  - connect:\n    name: connect to put it back\n  - write: temperature\n    name: put the temperature back\n    value: 5 °C\n"
)
PROGRAMMED = (
    "plan: Programmed logger\n" + _HEAD.format(letter="P")
    + "steps:\n  - command: [./programmer, '${serial}']\n    name: program it\n" + _STEPS.removeprefix("steps:\n") + _LAST
)  # fmt: skip

_UNIT = """device: box logger
address: '{address}'
advertising: {{interval: 50 ms, data: {{flags: 0x06, name: BXL}}}}
rssi: {{mean: {level} dBm, spread: 1 dB}}
services:
  - service: device information
    characteristics:
      - {{characteristic: serial number, properties: [read], value: {serial}}}
  - service: battery service
    characteristics:
      - {{characteristic: battery level, properties: [read], value: {battery} %}}
  - service: environmental sensing
    characteristics:
      - {{characteristic: temperature, properties: [read, write], value: {temperature} °C}}
{more}"""
# what makes a bad unit of a good one
_BAD: dict[str, dict[str, object]] = {
    "good": {}, "flat": {"battery": 5}, "cold": {"temperature": 1}, "warm": {"temperature": 7.5}, "weak": {"level": -78},
    "lost": {"more": "faults: {lost_after: 700 ms}\n"},
}  # fmt: skip


def address_of(serial: str) -> str:
    """That of the unit with this serial number."""
    number = int(serial[1:])
    return f"C4:1F:5A:{ord(serial[0]):02X}:{number // 256:02X}:{number % 256:02X}"


def label_of(serial: str) -> str:
    """What is on the label of the unit."""
    return f"{serial} {address_of(serial)}" if serial.startswith("A") else serial


def unit_in(inside: str, serial: str) -> tuple[str, str] | None:
    """Serial number and address of what is put in with this label: None for nothing. `as SERIAL` is that other unit, `at SERIAL`
    one that has the address of the other."""
    if inside == "-":
        return None
    if found := re.fullmatch(r"(as|at) (\w+)", inside):
        return (found[2] if found[1] == "as" else serial), address_of(found[2])
    return serial, address_of(serial)


def put_in(folder: Path, slot: str, inside: str, serial: str) -> None:
    """Put it into the slot, in place of what is in it."""
    file = folder / "in" / f"{slot}.yaml"
    unit = unit_in(inside, serial)
    file.unlink(missing_ok=True)
    if unit is not None:
        values = {"level": -50, "battery": 97, "temperature": 5, "more": "", **_BAD.get(inside, {})}
        new = file.with_suffix(".new")
        new.write_text(_UNIT.format(serial=unit[0], address=unit[1], **values), encoding="utf-8")
        os.replace(new, file)


def pull_out(folder: Path, slot: str) -> None:
    (folder / "in" / f"{slot}.yaml").unlink(missing_ok=True)


def furnish(folder: Path) -> None:
    """Station file, plans and programmer."""
    (folder / "in").mkdir()
    for name, text in (
        ("line.yaml", STATION), ("quick.yaml", QUICK), ("golden.yaml", GOLDEN), ("display.yaml", DISPLAY),
        ("programmed.yaml", PROGRAMMED),
    ):  # fmt: skip
        (folder / name).write_text(text, encoding="utf-8")
    programmer(folder, there=True)


def programmer(folder: Path, *, there: bool) -> None:
    file = folder / "programmer"
    file.write_text("#!/bin/sh\nexit 0\n", encoding="utf-8")
    file.chmod(0o755 if there else 0o644)
