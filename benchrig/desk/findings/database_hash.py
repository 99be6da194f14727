"""The Database Hash (2B2A): a client that finds the same hash again does not read the table, so a wrong one lets it use
handles that have moved."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family
from benchrig.desk.inspection import AttributeSeen
from benchrig.values import catalogue

FAMILY = Family("database hash")

DATABASE_HASH = catalogue.long_uuid(0x2B2A)
# Service, secondary service, include and characteristic declarations, extended properties: with their values.
WITH_VALUE = (0x2800, 0x2801, 0x2802, 0x2803, 0x2900)
# Descriptors whose values may change without a change of the table.
WITHOUT_VALUE = (0x2901, 0x2902, 0x2903, 0x2904, 0x2905)

_SOURCE = "Core specification Vol 3 Part G 7.3.1"


@FAMILY.rule("note", _SOURCE)
def hash_unchecked(look: Look) -> Iterator[Broken]:
    """There is a database hash, and this radio cannot read the table of it."""
    if not look.seen.outline:
        sentence = "the hash was not checked: the device's own table could not be read over this radio"
        yield from (Broken(standing.path, sentence) for standing, _ in look.sound(DATABASE_HASH))


@FAMILY.rule("error", _SOURCE)
def hash_mismatch(look: Look) -> Iterator[Broken]:
    """The database hash is not that of the table."""
    for standing, content in look.sound(DATABASE_HASH) if look.seen.outline else ():
        due = database_hash(look.seen.outline)
        if content.data != due:
            swapped = ", that is with its bytes in reverse" if content.data == due[::-1] else ""
            said = f"the hash does not match the table{swapped}; expected {due.hex().upper()} (as it goes over the air)"
            yield Broken(standing.path, said)


def database_hash(outline: Sequence[AttributeSeen]) -> bytes:
    """The hash of a table as it goes over the air, least significant octet first."""
    # nothing else here needs a cipher
    from cryptography.hazmat.primitives.ciphers.algorithms import AES
    from cryptography.hazmat.primitives.cmac import CMAC

    mac = CMAC(AES(bytes(16)))
    mac.update(hashed(outline))
    return mac.finalize()[::-1]


def hashed(outline: Sequence[AttributeSeen]) -> bytes:
    """What the hash is made of: handle, type and where it counts the value of each attribute, in order of handles."""
    return b"".join(map(_part, sorted(outline, key=lambda each: each.handle)))


def _part(seen: AttributeSeen) -> bytes:
    short = catalogue.short_uuid(seen.uuid)
    number = int(short, 16) if len(short) == 4 else 0
    if number not in WITH_VALUE + WITHOUT_VALUE:
        return b""
    head = seen.handle.to_bytes(2, "little") + number.to_bytes(2, "little")
    return head + (bytes.fromhex(seen.value) if number in WITH_VALUE else b"")
