"""What must be readable, and without a bond."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.desk.findings.finding import Finding
from benchrig.desk.inspection import CharacteristicSeen, DescriptorSeen, Inspection
from benchrig.desk.paths import Standing, standings
from benchrig.values.catalogue import long_uuid

READ_NOT_PERMITTED = "ATT error 0x02"
# Insufficient authentication, authorization, key size, encryption.
WITH_BOND = ("ATT error 0x05", "ATT error 0x08", "ATT error 0x0C", "ATT error 0x0F")
# Readable by anybody: appearance (Core Vol 3 Part C 12.2), features and hash of the server (Part G 7.2 to 7.4),
# descriptors (Part G 3.3.3.1 and 3.3.3.3 to 3.3.3.6).
_CHARACTERISTICS = {long_uuid(number) for number in (0x2A01, 0x2B29, 0x2B2A, 0x2B3A)}
_DESCRIPTORS = {long_uuid(number) for number in (0x2900, 0x2902, 0x2903, 0x2904, 0x2905)}


def judge(seen: Inspection) -> Iterator[Finding]:
    for standing in standings(seen):
        part = standing.seen
        if isinstance(part, CharacteristicSeen) and "read" in part.properties:
            yield from _characteristic(standing, part)
        elif isinstance(part, DescriptorSeen) and seen.whole_table:
            yield from _descriptor(standing, part)


def _characteristic(standing: Standing, seen: CharacteristicSeen) -> Iterator[Finding]:
    if seen.unread.startswith(READ_NOT_PERMITTED):
        sentence = "read is among its properties, but the device answers that reading is not permitted"
        yield Finding("read-refused", "warning", standing.path, sentence, "Core specification Vol 3 Part G 3.3.1.1")
    if seen.unread.startswith(WITH_BOND) and seen.uuid in _CHARACTERISTICS:
        sentence = f"it must be readable without pairing; the device answers with {seen.unread}"
        source = f"Core specification Vol 3 Part {'C 12.2' if seen.uuid == long_uuid(0x2A01) else 'G 7'}"
        yield Finding("must-be-readable", "error", standing.path, sentence, source)


def _descriptor(standing: Standing, seen: DescriptorSeen) -> Iterator[Finding]:
    if seen.unread.startswith("ATT error") and seen.uuid in _DESCRIPTORS:
        sentence = f"it must be readable without pairing; the device answers with {seen.unread}"
        yield Finding("must-be-readable", "error", standing.path, sentence, "Core specification Vol 3 Part G 3.3.3")
