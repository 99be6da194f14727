"""Values that do not fit what they say they are: lengths, reserved numbers, ranges, text."""

from __future__ import annotations

import struct
from collections.abc import Iterator

from benchrig.desk.findings.finding import Finding, Severity
from benchrig.desk.inspection import CharacteristicSeen, Content, DescriptorSeen, Inspection
from benchrig.desk.paths import Standing, standings
from benchrig.values import catalogue
from benchrig.values.advertising import appearance_name
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid
from benchrig.values.structs import FLAGS, ListFormat, StructFormat
from benchrig.values.text import TextFormat

DEVICE_NAME, APPEARANCE, PREFERRED_PARAMETERS = (long_uuid(number) for number in (0x2A00, 0x2A01, 0x2A04))
# Model, serial, firmware, hardware and software, manufacturer.
STRINGS = tuple(long_uuid(number) for number in range(0x2A24, 0x2A2A))
VALID_RANGE = 0x2906
CCCD = long_uuid(0x2902)
LONGEST_NAME = 248
ANY = 0xFFFF  # 'no specific value'

_DEFINED = "GATT Specification Supplement"
_ACCESS = "Core specification Vol 3 Part C 12"


def judge(seen: Inspection) -> Iterator[Finding]:
    for standing in standings(seen):
        part = standing.seen
        if part.uuid == CCCD and not seen.whole_table:
            continue  # the operating system keeps it, and may show nothing in its place
        if isinstance(part, (CharacteristicSeen, DescriptorSeen)) and part.content is not None:
            if part.content.wrong:
                yield _misfit(standing, part.content)
            else:
                yield from _sense(standing, part.uuid, part.content)
            if part.uuid in STRINGS and not part.content.data:
                sentence = "the text is empty: fill it in, or leave the characteristic out"
                yield Finding("empty-text", "note", standing.path, sentence, "Device Information Service 3")
            if isinstance(part, CharacteristicSeen):
                yield from _valid_range(standing, part, part.content)


def _misfit(standing: Standing, content: Content) -> Finding:
    """A value that its format could not read."""
    if content.known_by == "plan":
        return Finding("value-against-plan", "warning", standing.path, content.wrong, "the plan's attributes")
    if content.known_by == "presentation format":
        sentence = f"the value does not fit the presentation format that the device gives: {content.wrong}"
        return Finding(
            "value-against-format", "error", standing.path, sentence, "Core specification Vol 3 Part G 3.3.3.5"
        )
    form = catalogue.definition(standing.seen.uuid)
    if isinstance(form, TextFormat):
        return Finding("not-utf8", "error", standing.path, content.wrong, _DEFINED)
    rule = "reserved-value" if form is not None and length_fits(form, content.data) else "wrong-length"
    return Finding(rule, "error", standing.path, content.wrong, _DEFINED)


def length_fits(form: Format, data: bytes) -> bool:
    """Whether these are as many octets as the format wants, whatever they say."""
    if not isinstance(form, StructFormat):
        return form.size is None or form.size == len(data)
    flags = at = 0
    for item in (item for item in form.items if item.present(flags)):
        if item.format.size is None:
            return _rest_fits(item.format, len(data) - at)
        if item.name == FLAGS:
            flags = int.from_bytes(data[at : at + item.format.size], "little")
        at += item.format.size
    return at == len(data)


def _rest_fits(form: Format, left: int) -> bool:
    if isinstance(form, ListFormat) and form.item.size:
        return left % form.item.size == 0 and left >= form.least * form.item.size
    return left >= 0


def _sense(standing: Standing, uuid: str, content: Content) -> Iterator[Finding]:
    """A value that could be read, and still says what it must not."""
    if uuid == DEVICE_NAME and len(content.data) > LONGEST_NAME:
        sentence = f"{len(content.data)} bytes; a device name has at most {LONGEST_NAME}"
        yield Finding("name-too-long", "error", standing.path, sentence, f"{_ACCESS}.1")
    if (
        uuid == APPEARANCE
        and len(content.data) == 2
        and appearance_name(int.from_bytes(content.data, "little")) is None
    ):
        sentence = f"the appearance 0x{int.from_bytes(content.data, 'little'):04X} is not assigned"
        yield Finding(
            "appearance-not-assigned", "warning", standing.path, sentence, "Bluetooth SIG assigned numbers, 2026"
        )
    if uuid == PREFERRED_PARAMETERS and len(content.data) == 8:
        yield from _preferred_parameters(standing, content.data)
    if isinstance(catalogue.definition(uuid), TextFormat) and b"\0" in content.data:
        sentence = "the text has a zero byte in it: it is part of the text, which needs no end mark"
        yield Finding("zero-in-text", "note", standing.path, sentence, _DEFINED)


def _preferred_parameters(standing: Standing, data: bytes) -> Iterator[Finding]:
    least, most, latency, timeout = struct.unpack("<4H", data)
    if ANY not in (least, most) and least > most:
        sentence = f"the shortest interval ({1.25 * least:g} ms) is longer than the longest ({1.25 * most:g} ms)"
        yield Finding("intervals-swapped", "error", standing.path, sentence, f"{_ACCESS}.3")
    # timeout > (1 + latency) · interval · 2; equal is not enough
    if ANY not in (most, latency, timeout) and not 4 * timeout > (1 + latency) * most:
        needed = 2 * (1 + latency) * 1.25 * most
        sentence = f"the supervision timeout ({10 * timeout} ms) must be longer than (1 + latency) × longest interval × 2 = {needed:g} ms"
        yield Finding("timeout-too-short", "error", standing.path, sentence, "Core specification Vol 6 Part B 4.5.2")


def _valid_range(standing: Standing, seen: CharacteristicSeen, content: Content) -> Iterator[Finding]:
    descriptor = seen.descriptor(VALID_RANGE)
    ends = descriptor.content.value if descriptor is not None and descriptor.content is not None else None
    lower, upper = (ends.get(end) for end in ("lower", "upper")) if isinstance(ends, dict) else (None, None)
    if not isinstance(lower, (int, float)) or not isinstance(upper, (int, float)):
        return
    severity: Severity
    if lower > upper:
        rule, severity, sentence = (
            "range-swapped",
            "error",
            f"the valid range begins at {lower:g} and ends at {upper:g}",
        )
    elif isinstance(content.value, (int, float)) and not lower <= content.value <= upper:
        rule, severity = "outside-valid-range", "warning"
        sentence = (
            f"the value {content.value:g} is outside the valid range that the device gives, {lower:g} to {upper:g}"
        )
    else:
        return
    yield Finding(
        rule,
        severity,
        f"{standing.path}/{descriptor.name}" if descriptor else standing.path,
        sentence,
        f"{_DEFINED}, valid range",
    )
