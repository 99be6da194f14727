"""UUIDs of 16 bits that nobody has assigned: own attributes need UUIDs of 128 bits."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family
from benchrig.desk.inspection import CharacteristicSeen, DescriptorSeen, ServiceSeen
from benchrig.values import catalogue

FAMILY = Family("identifiers")

_KINDS = {ServiceSeen: "service", CharacteristicSeen: "characteristic", DescriptorSeen: "descriptor"}
# Assigned to members one by one, for whatever they like; to other organizations for services.
_OF_MEMBERS, _SERVICES_OF_OTHERS = range(0xFC00, 0xFF00), range(0xFFEF, 0xFFFF)


@FAMILY.rule("warning", "Bluetooth SIG assigned numbers, 2026")
def uuid_not_assigned(look: Look) -> Iterator[Broken]:
    """A UUID of 16 bits that nobody has assigned."""
    for standing in look.standings:
        kind, short = _KINDS[type(standing.seen)], catalogue.short_uuid(standing.seen.uuid)
        if len(short) == 4 and not _assigned(int(short, 16), kind):
            sentence = f"no {kind} has the UUID {short}; a UUID of your own has 128 bits, and is drawn at random"
            yield Broken(standing.path, sentence)


def _assigned(number: int, kind: str) -> bool:
    of_others = number in _OF_MEMBERS or (kind == "service" and number in _SERVICES_OF_OTHERS)
    return catalogue.name_of(number, kind) is not None or of_others
