"""What must be readable, and without a bond."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family
from benchrig.desk.inspection import CharacteristicSeen, DescriptorSeen
from benchrig.values.att_errors import INSUFFICIENT, READ_NOT_PERMITTED
from benchrig.values.catalogue import long_uuid

FAMILY = Family("access")
_CORE = "Core specification Vol 3 Part"

# Readable by anybody: appearance, features and hash of the server, descriptors, with the chapter that says so.
_CHARACTERISTICS = {long_uuid(number): f"{_CORE} G 7" for number in (0x2B29, 0x2B2A, 0x2B3A)} | {
    long_uuid(0x2A01): f"{_CORE} C 12.2"
}
_DESCRIPTORS = {long_uuid(number): f"{_CORE} G 3.3.3" for number in (0x2900, 0x2902, 0x2903, 0x2904, 0x2905)}


@FAMILY.rule("warning", f"{_CORE} G 3.3.1.1")
def read_refused(look: Look) -> Iterator[Broken]:
    """`read` is among the properties, and the device answers that reading is not permitted."""
    for standing, seen in look.characteristics():
        if "read" in seen.properties and seen.refused == READ_NOT_PERMITTED:
            sentence = "read is among its properties, but the device answers that reading is not permitted"
            yield Broken(standing.path, sentence)


@FAMILY.rule("error", f"{_CORE} C 12.2, G 3.3.3 and G 7")
def must_be_readable(look: Look) -> Iterator[Broken]:
    """What anybody must be able to read wants a bond, or is refused."""
    refused = [
        (standing, seen.access, _CHARACTERISTICS.get(seen.uuid))
        for standing, seen in look.characteristics()
        if "read" in seen.properties and _refusal(seen) in INSUFFICIENT
    ]
    refused += [
        (standing, seen.access, _DESCRIPTORS.get(seen.uuid))
        for standing, seen in look.descriptors()
        if look.seen.whole_table and _refusal(seen) is not None
    ]
    for standing, unread, source in refused:
        if source is not None:
            yield Broken(
                standing.path, f"it must be readable without pairing; the device answers with {unread}", source
            )


def _refusal(seen: CharacteristicSeen | DescriptorSeen) -> int | None:
    """The code of the error without pairing."""
    return seen.guarded.refused if seen.guarded else seen.refused
