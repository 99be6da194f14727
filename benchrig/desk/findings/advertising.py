"""What a device advertises: well formed, and in agreement with its table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from benchrig.desk.findings.finding import Finding, Severity
from benchrig.desk.inspection import CharacteristicSeen, Inspection
from benchrig.values import catalogue
from benchrig.values.advertising import AdField, parse_payload
from benchrig.values.catalogue import long_uuid

FLAGS, SHORT_NAME, COMPLETE_NAME, APPEARANCE = 0x01, 0x08, 0x09, 0x19
LIMITED, GENERAL, NO_CLASSIC, BOTH_AT_ONCE = 0x01, 0x02, 0x04, 0x18
LONGEST = 31
# Not more than once in a block (Core Specification Supplement, Part A 1); the two kinds of names count together.
_ONCE = {FLAGS: "flags", SHORT_NAME: "local name", COMPLETE_NAME: "local name", APPEARANCE: "appearance"}
_ADVERTISING, _RESPONSE = "advertising", "scan response"
_SUPPLEMENT = "Core Specification Supplement, Part A"
_WARNING: Severity = "warning"
_NOTE: Severity = "note"
# An operating system keeps these to itself.
_HIDDEN = (long_uuid(0x1800), long_uuid(0x1801), long_uuid(0x1812))


def judge(seen: Inspection) -> Iterator[Finding]:
    heard = seen.advertising
    blocks = {
        where: parse_payload(bytes.fromhex(payload))
        for where, payload in ((_ADVERTISING, heard.payload), (_RESPONSE, heard.scan_response))
        if payload is not None
    }
    for where, fields in blocks.items():
        yield from _form(where, fields)
    if _ADVERTISING in blocks:
        yield from _flags(blocks[_ADVERTISING], blocks.get(_RESPONSE, []), connectable=bool(heard.connectable))
    fields = [field for block in blocks.values() for field in block]
    yield from _name(seen, fields)
    yield from _appearance(seen, fields)
    yield from _services(seen)


def _form(where: str, fields: list[AdField]) -> Iterator[Finding]:
    for field in (field for field in fields if field.wrong):
        sentence = f"{field.name or f'type 0x{field.type:02X}'} at byte {field.offset}: {field.wrong}"
        yield Finding(
            "malformed-advertising", "error", where, sentence, f"Core specification Vol 3 Part C 11; {_SUPPLEMENT}"
        )
    for name, count in Counter(_ONCE[field.type] for field in fields if field.type in _ONCE).items():
        if count > 1:
            yield Finding(
                "repeated-field", "error", where, f"{count} times {name}; one is the most", f"{_SUPPLEMENT} 1"
            )
    if (size := sum(field.length for field in fields)) > LONGEST:
        sentence = (
            f"{size} bytes; without extended advertising {LONGEST} are the most, and older phones hear nothing else"
        )
        yield Finding("long-advertising", "warning", where, sentence, "Core specification Vol 6 Part B 2.3.1")


def _flags(fields: list[AdField], response: list[AdField], *, connectable: bool) -> Iterator[Finding]:
    source = f"{_SUPPLEMENT} 1.3"
    if any(field.type == FLAGS for field in response):
        yield Finding(
            "flags-in-response", "error", _RESPONSE, "flags belong into the advertising data, not here", source
        )
    flags = next((field for field in fields if field.type == FLAGS and field.raw), None)
    if flags is None:
        if connectable:
            sentence = "a device that takes connections, without flags: a device for LE alone has to say so in them"
            yield Finding("missing-flags", "warning", _ADVERTISING, sentence, source)
        return
    bits = flags.raw[0]
    if bits & LIMITED and bits & GENERAL:
        sentence = "limited and general discoverable at once; a device is one of the two"
        yield Finding(
            "discoverable-twice", "error", _ADVERTISING, sentence, "Core specification Vol 3 Part C 9.2.3 and 9.2.4"
        )
    if bits & NO_CLASSIC and bits & BOTH_AT_ONCE:
        sentence = "the flags say that BR/EDR is not supported, and that it works beside LE"
        yield Finding("flags-contradict", "error", _ADVERTISING, sentence, "Core specification Vol 3 Part C 9.2.4")


def _name(seen: Inspection, fields: list[AdField]) -> Iterator[Finding]:
    """The advertised name is the device name, or its beginning."""
    own = _value(seen, 0x2A00)
    if own is None or not isinstance(own.content and own.content.value, str):
        return
    assert own.content is not None
    full = own.content.data
    source = f"{_SUPPLEMENT} 1.2"
    for field in (field for field in fields if field.type in (SHORT_NAME, COMPLETE_NAME)):
        fits = field.raw == full if field.type == COMPLETE_NAME else full.startswith(field.raw)
        if not fits and not field.wrong:
            kind = "is not" if field.type == COMPLETE_NAME else "is not the beginning of"
            sentence = f"the {field.name} '{field.text}' {kind} the device name '{own.content.value}'"
            yield Finding("name-differs", "error", _ADVERTISING, sentence, source)
    heard = seen.advertising.name.encode()
    if seen.advertising.payload is None and not full.startswith(heard):
        sentence = f"the advertised name '{seen.advertising.name}' is not the device name '{own.content.value}'"
        yield Finding("name-differs", "error", _ADVERTISING, sentence, source)


def _appearance(seen: Inspection, fields: list[AdField]) -> Iterator[Finding]:
    own = _value(seen, 0x2A01)
    for field in (field for field in fields if field.type == APPEARANCE and not field.wrong):
        if own is not None and own.content is not None and len(own.content.data) == 2 and own.content.data != field.raw:
            there, here = (int.from_bytes(data, "little") for data in (own.content.data, field.raw))
            sentence = f"the advertised appearance is 0x{here:04X}, that of the table 0x{there:04X}"
            yield Finding("appearance-differs", "error", _ADVERTISING, sentence, f"{_SUPPLEMENT} 1.12")


def _services(seen: Inspection) -> Iterator[Finding]:
    there = {service.uuid for service in seen.services} | set(() if seen.whole_table else _HIDDEN)
    # what has its service data beside it lives in the advertising: beacons have no such service
    there |= set(seen.advertising.service_data)
    for uuid in (uuid for uuid in seen.advertising.services if uuid not in there):
        name = catalogue.name_of(uuid, "service")
        said = f"{name} ({catalogue.short_uuid(uuid)})" if name else catalogue.short_uuid(uuid)
        if seen.whole_table:
            severity, sentence = _WARNING, f"the service {said} is advertised, but the table has none"
        else:
            severity, sentence = _NOTE, f"the service {said} is advertised, but this radio does not show it"
        yield Finding("service-not-there", severity, _ADVERTISING, sentence, f"{_SUPPLEMENT} 1.1")


def _value(seen: Inspection, uuid16: int) -> CharacteristicSeen | None:
    return next((each for _, each in seen.characteristics() if each.uuid == long_uuid(uuid16)), None)
