"""Properties and descriptors that belong together, whatever the characteristic is (Core specification Vol 3 Part G 3.3)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from benchrig.desk.findings.finding import Finding
from benchrig.desk.inspection import CharacteristicSeen, Inspection, long_uuid
from benchrig.desk.paths import Standing, standings
from benchrig.values import catalogue

EXTENDED, CCCD, PRESENTATION, AGGREGATE = 0x2900, 0x2902, 0x2904, 0x2905
# A characteristic has at most one of each: 3.3.3.1 to 3.3.3.4 and 3.3.3.6.
_ONLY_ONE = {long_uuid(number) for number in (0x2900, 0x2901, 0x2902, 0x2903, 0x2905)}
_PROPERTIES = "Core specification Vol 3 Part G 3.3.1.1"
_DESCRIPTORS = "Core specification Vol 3 Part G 3.3.3"
READ_NOT_PERMITTED = "ATT error 0x02"


def judge(seen: Inspection) -> Iterator[Finding]:
    for standing in standings(seen):
        if isinstance(standing.seen, CharacteristicSeen):
            yield from _updates(standing, standing.seen)
            yield from _extended(standing, standing.seen)
            yield from _number_of_descriptors(standing, standing.seen)
            yield from _readable(standing, standing.seen)


def _updates(standing: Standing, seen: CharacteristicSeen) -> Iterator[Finding]:
    kinds = [kind for kind in ("notify", "indicate") if kind in seen.properties]
    there = seen.descriptor(CCCD) is not None
    if kinds and not there:
        sentence = f"{' and '.join(kinds)} without client characteristic configuration (2902): nobody can subscribe"
        yield Finding("missing-cccd", "error", standing.path, sentence, _PROPERTIES)
    if there and not kinds:
        sentence = "client characteristic configuration (2902), but neither notify nor indicate among the properties"
        yield Finding("idle-cccd", "warning", standing.path, sentence, f"{_DESCRIPTORS}.3")


def _extended(standing: Standing, seen: CharacteristicSeen) -> Iterator[Finding]:
    said, there = "extended properties" in seen.properties, seen.descriptor(EXTENDED) is not None
    if said and not there:
        sentence = (
            "extended properties among the properties, but no descriptor characteristic extended properties (2900)"
        )
        yield Finding("missing-extended-properties", "error", standing.path, sentence, _PROPERTIES)
    if there and not said:
        sentence = "a descriptor characteristic extended properties (2900), but its bit among the properties is clear"
        yield Finding("idle-extended-properties", "warning", standing.path, sentence, _PROPERTIES)


def _number_of_descriptors(standing: Standing, seen: CharacteristicSeen) -> Iterator[Finding]:
    count = Counter(each.uuid for each in seen.descriptors)
    for uuid in (each for each in count if each in _ONLY_ONE and count[each] > 1):
        name = catalogue.name_of(uuid, "descriptor")
        yield Finding(
            "duplicate-descriptor", "error", standing.path, f"{count[uuid]} × {name}; one is the most", _DESCRIPTORS
        )
    if count[long_uuid(PRESENTATION)] > 1 and not count[long_uuid(AGGREGATE)]:
        sentence = f"{count[long_uuid(PRESENTATION)]} presentation formats (2904) without an aggregate format (2905)"
        yield Finding("missing-aggregate-format", "error", standing.path, sentence, f"{_DESCRIPTORS}.5")


def _readable(standing: Standing, seen: CharacteristicSeen) -> Iterator[Finding]:
    if "read" in seen.properties and seen.unread.startswith(READ_NOT_PERMITTED):
        sentence = "read is among its properties, but the device answers that reading is not permitted"
        yield Finding("read-refused", "warning", standing.path, sentence, _PROPERTIES)
