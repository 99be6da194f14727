"""What a device advertises: well formed, and in agreement with its table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family
from benchrig.values import catalogue
from benchrig.values.advertising import AdField, parse_payload
from benchrig.values.catalogue import long_uuid

FAMILY = Family("advertising")

FLAGS, SHORT_NAME, COMPLETE_NAME, APPEARANCE = 0x01, 0x08, 0x09, 0x19
LIMITED, GENERAL, NO_CLASSIC, BOTH_AT_ONCE = 0x01, 0x02, 0x04, 0x18
LONGEST = 31
# Not more than once in a block (Core Specification Supplement, Part A 1); the two kinds of names count together.
_ONCE = {FLAGS: "flags", SHORT_NAME: "local name", COMPLETE_NAME: "local name", APPEARANCE: "appearance"}
_ADVERTISING, _RESPONSE = "advertising", "scan response"
_CORE = "Core specification Vol 3 Part C"
_SUPPLEMENT = "Core Specification Supplement, Part A"
# An operating system keeps these to itself.
_HIDDEN = (long_uuid(0x1800), long_uuid(0x1801), long_uuid(0x1812))


def _blocks(look: Look) -> dict[str, list[AdField]]:
    """The payloads that the radio tells, by where they are sent."""
    heard = look.seen.advertising
    payloads = {_ADVERTISING: heard.payload, _RESPONSE: heard.scan_response}
    return {where: parse_payload(bytes.fromhex(data)) for where, data in payloads.items() if data is not None}


def _fields(look: Look, *types: int) -> Iterator[AdField]:
    """The fields of these types that are well formed, in either payload."""
    fields = (field for block in _blocks(look).values() for field in block)
    return (field for field in fields if field.type in types and not field.wrong)


@FAMILY.rule("error", f"{_CORE} 11; {_SUPPLEMENT}")
def malformed_advertising(look: Look) -> Iterator[Broken]:
    """A payload is malformed."""
    for where, fields in _blocks(look).items():
        for field in (field for field in fields if field.wrong):
            name = field.name or f"type 0x{field.type:02X}"
            yield Broken(where, f"{name} at byte {field.offset}: {field.wrong}")


@FAMILY.rule("error", f"{_SUPPLEMENT} 1")
def repeated_field(look: Look) -> Iterator[Broken]:
    """What may stand once in a payload appears twice."""
    for where, fields in _blocks(look).items():
        for name, count in Counter(_ONCE[field.type] for field in fields if field.type in _ONCE).items():
            if count > 1:
                yield Broken(where, f"{count} times {name}; one is the most")


@FAMILY.rule("warning", "Core specification Vol 6 Part B 2.3.1")
def long_advertising(look: Look) -> Iterator[Broken]:
    """More than 31 bytes, which only extended advertising carries."""
    for where, fields in _blocks(look).items():
        if (size := sum(field.length for field in fields)) > LONGEST:
            most = f"without extended advertising {LONGEST} are the most, and older phones hear nothing else"
            yield Broken(where, f"{size} bytes; {most}")


@FAMILY.rule("error", f"{_SUPPLEMENT} 1.3")
def flags_in_response(look: Look) -> Iterator[Broken]:
    """Flags in the scan response."""
    blocks = _blocks(look)
    if _ADVERTISING in blocks and any(field.type == FLAGS for field in blocks.get(_RESPONSE, [])):
        yield Broken(_RESPONSE, "flags belong into the advertising data, not here")


def _flags(look: Look) -> int | None:
    fields = _blocks(look).get(_ADVERTISING, [])
    return next((field.raw[0] for field in fields if field.type == FLAGS and field.raw), None)


@FAMILY.rule("warning", f"{_SUPPLEMENT} 1.3")
def missing_flags(look: Look) -> Iterator[Broken]:
    """A device that takes connections advertises no flags."""
    heard = look.seen.advertising
    if heard.payload is not None and heard.connectable and _flags(look) is None:
        so = "a device for LE alone has to say so in them"
        yield Broken(_ADVERTISING, f"a device that takes connections, without flags: {so}")


@FAMILY.rule("error", f"{_CORE} 9.2.3 and 9.2.4")
def discoverable_twice(look: Look) -> Iterator[Broken]:
    """Limited and general discoverable at once."""
    bits = _flags(look) or 0
    if bits & LIMITED and bits & GENERAL:
        yield Broken(_ADVERTISING, "limited and general discoverable at once; a device is one of the two")


@FAMILY.rule("error", f"{_CORE} 9.2.4")
def flags_contradict(look: Look) -> Iterator[Broken]:
    """The flags say that BR/EDR is not supported, and that it is."""
    bits = _flags(look) or 0
    if bits & NO_CLASSIC and bits & BOTH_AT_ONCE:
        yield Broken(_ADVERTISING, "the flags say that BR/EDR is not supported, and that it works beside LE")


@FAMILY.rule("error", f"{_SUPPLEMENT} 1.2")
def name_differs(look: Look) -> Iterator[Broken]:
    """The advertised name is not the device name or its beginning."""
    own = look.content(0x2A00)
    if own is not None and isinstance(own.value, str):
        yield from (Broken(_ADVERTISING, sentence) for sentence in _unlike(look, own.data, own.value))


def _unlike(look: Look, full: bytes, name: str) -> Iterator[str]:
    for field in _fields(look, SHORT_NAME, COMPLETE_NAME):
        fits = field.raw == full if field.type == COMPLETE_NAME else full.startswith(field.raw)
        if not fits:
            kind = "is not" if field.type == COMPLETE_NAME else "is not the beginning of"
            yield f"the {field.name} '{field.text}' {kind} the device name '{name}'"
    heard = look.seen.advertising
    if heard.payload is None and not full.startswith(heard.name.encode()):
        yield f"the advertised name '{heard.name}' is not the device name '{name}'"


@FAMILY.rule("error", f"{_SUPPLEMENT} 1.12")
def appearance_differs(look: Look) -> Iterator[Broken]:
    """The advertised appearance is not that of the table."""
    own = look.content(0x2A01)
    for field in _fields(look, APPEARANCE):
        if own is not None and len(own.data) == 2 and own.data != field.raw:
            there, here = (int.from_bytes(data, "little") for data in (own.data, field.raw))
            yield Broken(_ADVERTISING, f"the advertised appearance is 0x{here:04X}, that of the table 0x{there:04X}")


@FAMILY.rule("warning", f"{_SUPPLEMENT} 1.1")
def service_not_there(look: Look) -> Iterator[Broken]:
    """A service is advertised and not in the table; a note where the radio may hide it."""
    seen = look.seen
    there = {service.uuid for service in seen.services} | set(() if seen.whole_table else _HIDDEN)
    # what has its service data beside it lives in the advertising: beacons have no such service
    there |= set(seen.advertising.service_data)
    for uuid in (uuid for uuid in seen.advertising.services if uuid not in there):
        name = catalogue.name_of(uuid, "service")
        said = f"{name} ({catalogue.short_uuid(uuid)})" if name else catalogue.short_uuid(uuid)
        if seen.whole_table:
            yield Broken(_ADVERTISING, f"the service {said} is advertised, but the table has none")
        else:
            sentence = f"the service {said} is advertised, but this radio does not show it"
            yield Broken(_ADVERTISING, sentence, severity="note")
