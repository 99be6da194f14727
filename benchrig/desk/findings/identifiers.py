"""UUIDs of 16 bits that nobody has assigned: own attributes need UUIDs of 128 bits."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.desk.findings.finding import Finding
from benchrig.desk.inspection import CharacteristicSeen, Inspection, ServiceSeen
from benchrig.desk.paths import standings
from benchrig.values import catalogue

# Assigned to members one by one, for whatever they like; to other organizations for services.
_OF_MEMBERS, _SERVICES_OF_OTHERS = range(0xFC00, 0xFF00), range(0xFFEF, 0xFFFF)


def judge(seen: Inspection) -> Iterator[Finding]:
    for standing in standings(seen):
        part = standing.seen
        kind = (
            "service"
            if isinstance(part, ServiceSeen)
            else "characteristic"
            if isinstance(part, CharacteristicSeen)
            else "descriptor"
        )
        short = catalogue.short_uuid(part.uuid)
        if len(short) == 4 and not _assigned(int(short, 16), kind):
            sentence = f"no {kind} has the UUID {short}; a UUID of your own has 128 bits, and is drawn at random"
            yield Finding(
                "uuid-not-assigned", "warning", standing.path, sentence, "Bluetooth SIG assigned numbers, 2026"
            )


def _assigned(number: int, kind: str) -> bool:
    of_others = number in _OF_MEMBERS or (kind == "service" and number in _SERVICES_OF_OTHERS)
    return catalogue.name_of(number, kind) is not None or of_others
