"""Values that do not fit what they say they are: lengths, reserved numbers, ranges, text."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from functools import partial

from benchrig.desk.findings.finding import Severity
from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family, Rule
from benchrig.desk.inspection import Content
from benchrig.desk.paths import Standing
from benchrig.values import catalogue
from benchrig.values.advertising import appearance_name
from benchrig.values.base import Format
from benchrig.values.catalogue import long_uuid
from benchrig.values.structs import FLAGS, ListFormat, StructFormat
from benchrig.values.text import TextFormat

FAMILY = Family("values")

DEVICE_NAME, APPEARANCE, PREFERRED_PARAMETERS = (long_uuid(number) for number in (0x2A00, 0x2A01, 0x2A04))
# Model, serial, firmware, hardware and software, manufacturer.
STRINGS = tuple(long_uuid(number) for number in range(0x2A24, 0x2A2A))
VALID_RANGE = 0x2906
LONGEST_NAME = 248
ANY = 0xFFFF  # 'no specific value'

_DEFINED = "GATT Specification Supplement"
_ACCESS = "Core specification Vol 3 Part C 12"


# What becomes of a value that its format could not read.
_UNREADABLE: tuple[tuple[str, Severity, str, str], ...] = (
    ("value-against-plan", "warning", "the plan's attributes", "A value does not fit the format of the plan"),
    ("value-against-format", "error", "Core specification Vol 3 Part G 3.3.3.5", "A value does not fit the presentation format that the device gives"),
    ("not-utf8", "error", _DEFINED, "A text is not UTF-8"),
    ("reserved-value", "error", _DEFINED, "A value has the right length, and is reserved or out of its range"),
    ("wrong-length", "error", _DEFINED, "A value is too long or too short"),
)  # fmt: skip


def _unreadable(rule: str, look: Look) -> Iterator[Broken]:
    """The values that their formats could not read, and for the reason that the rule is about."""
    for standing, content in look.values():
        if content.wrong and _reason(standing, content) == rule:
            against = "the value does not fit the presentation format that the device gives: "
            yield Broken(standing.path, f"{against if rule == 'value-against-format' else ''}{content.wrong}")


def _reason(standing: Standing, content: Content) -> str:
    if content.known_by == "plan":
        return "value-against-plan"
    if content.known_by == "presentation format":
        return "value-against-format"
    form = catalogue.definition(standing.seen.uuid)
    if isinstance(form, TextFormat):
        return "not-utf8"
    return "reserved-value" if form is not None and length_fits(form, content.data) else "wrong-length"


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


FAMILY.rules.extend(
    [
        Rule(name, severity, source, meaning, partial(_unreadable, name))
        for name, severity, source, meaning in _UNREADABLE
    ]
)


@FAMILY.rule("note", "Device Information Service 3")
def empty_text(look: Look) -> Iterator[Broken]:
    """A text of the device information is empty."""
    for standing, content in look.values():
        if standing.seen.uuid in STRINGS and not content.data:
            yield Broken(standing.path, "the text is empty: fill it in, or leave the characteristic out")


@FAMILY.rule("error", f"{_ACCESS}.1")
def name_too_long(look: Look) -> Iterator[Broken]:
    """A device name of more than 248 bytes."""
    for standing, content in look.sound(DEVICE_NAME):
        if len(content.data) > LONGEST_NAME:
            yield Broken(standing.path, f"{len(content.data)} bytes; a device name has at most {LONGEST_NAME}")


@FAMILY.rule("warning", "Bluetooth SIG assigned numbers, 2026")
def appearance_not_assigned(look: Look) -> Iterator[Broken]:
    """An appearance that nobody has assigned."""
    for standing, content in look.sound(APPEARANCE):
        number = int.from_bytes(content.data, "little")
        if len(content.data) == 2 and appearance_name(number) is None:
            yield Broken(standing.path, f"the appearance 0x{number:04X} is not assigned")


@FAMILY.rule("note", _DEFINED)
def zero_in_text(look: Look) -> Iterator[Broken]:
    """A text has a zero byte in it."""
    for standing, content in look.values():
        is_text = isinstance(catalogue.definition(standing.seen.uuid), TextFormat)
        if is_text and not content.wrong and b"\0" in content.data:
            sentence = "the text has a zero byte in it: it is part of the text, which needs no end mark"
            yield Broken(standing.path, sentence)


def _preferred_parameters(look: Look) -> Iterator[tuple[str, int, int, int, int]]:
    """Shortest and longest interval, latency and supervision time-out, as they are sent."""
    for standing, content in look.sound(PREFERRED_PARAMETERS):
        if len(content.data) == 8:
            least, most, latency, timeout = struct.unpack("<4H", content.data)
            yield standing.path, least, most, latency, timeout


@FAMILY.rule("error", f"{_ACCESS}.3")
def intervals_swapped(look: Look) -> Iterator[Broken]:
    """The shortest preferred connection interval is above the longest."""
    for path, least, most, _, _ in _preferred_parameters(look):
        if ANY not in (least, most) and least > most:
            sentence = f"the shortest interval ({1.25 * least:g} ms) is longer than the longest ({1.25 * most:g} ms)"
            yield Broken(path, sentence)


@FAMILY.rule("error", "Core specification Vol 6 Part B 4.5.2")
def timeout_too_short(look: Look) -> Iterator[Broken]:
    """The preferred supervision timeout is too short for the interval and latency beside it."""
    for path, _, most, latency, timeout in _preferred_parameters(look):
        # timeout > (1 + latency) · interval · 2; equal is not enough
        if ANY not in (most, latency, timeout) and not 4 * timeout > (1 + latency) * most:
            needed = f"(1 + latency) × longest interval × 2 = {2 * (1 + latency) * 1.25 * most:g} ms"
            yield Broken(path, f"the supervision timeout ({10 * timeout} ms) must be longer than {needed}")


def _ranges(look: Look) -> Iterator[tuple[str, Content, float, float]]:
    """The path of each valid range, the value that it is for, and its ends."""
    for standing, seen in look.characteristics():
        descriptor = seen.descriptor(VALID_RANGE)
        ends = descriptor.content.value if descriptor is not None and descriptor.content is not None else None
        lower, upper = (ends.get(end) for end in ("lower", "upper")) if isinstance(ends, dict) else (None, None)
        if seen.content and descriptor and isinstance(lower, (int, float)) and isinstance(upper, (int, float)):
            yield f"{standing.path}/{descriptor.name}", seen.content, lower, upper


@FAMILY.rule("error", f"{_DEFINED}, valid range")
def range_swapped(look: Look) -> Iterator[Broken]:
    """A valid range begins above its end."""
    for path, _, lower, upper in _ranges(look):
        if lower > upper:
            yield Broken(path, f"the valid range begins at {lower:g} and ends at {upper:g}")


@FAMILY.rule("warning", f"{_DEFINED}, valid range")
def outside_valid_range(look: Look) -> Iterator[Broken]:
    """A value is outside the valid range beside it."""
    for path, content, lower, upper in _ranges(look):
        value = content.value
        if lower <= upper and isinstance(value, (int, float)) and not lower <= value <= upper:
            given = f"the valid range that the device gives, {lower:g} to {upper:g}"
            yield Broken(path, f"the value {value:g} is outside {given}")
