"""Properties and descriptors that belong together, whatever the characteristic is (Core specification Vol 3 Part G 3.3)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from benchrig.desk.findings.finding import Finding
from benchrig.desk.inspection import CharacteristicSeen, DescriptorSeen, Inspection
from benchrig.desk.paths import Standing, standings
from benchrig.values import catalogue
from benchrig.values.catalogue import long_uuid

CCCD, PRESENTATION, AGGREGATE = 0x2902, 0x2904, 0x2905
# A characteristic has at most one of each: 3.3.3.1 to 3.3.3.4 and 3.3.3.6.
_ONLY_ONE = {long_uuid(number) for number in (0x2900, 0x2901, 0x2902, 0x2903, 0x2905)}
_PROPERTIES = "Core specification Vol 3 Part G 3.3.1.1"
_DESCRIPTORS = "Core specification Vol 3 Part G 3.3.3"


@dataclass(frozen=True)
class _Pair:
    """A descriptor that has to be there when one of the properties is, and means nothing without; `so` is what follows
    when it is missing."""

    properties: tuple[str, ...]
    descriptor: int
    rule: str
    so: str = ""


_PAIRS = (
    _Pair(("notify", "indicate"), CCCD, "cccd", ": nobody can subscribe"),
    _Pair(("broadcast",), 0x2903, "sccd", ": nobody can have it broadcast"),
    _Pair(("extended properties",), 0x2900, "extended-properties"),
)


def judge(seen: Inspection) -> Iterator[Finding]:
    formats = {
        each.seen.handle for each in standings(seen) if each.seen.uuid == long_uuid(PRESENTATION)
    }  # of the whole device
    for standing in standings(seen):
        part = standing.seen
        if isinstance(part, CharacteristicSeen):
            for pair in _PAIRS:
                yield from _pair(standing, part, pair)
            yield from _number_of_descriptors(standing, part)
        elif isinstance(part, DescriptorSeen) and seen.whole_table and part.content and not part.content.wrong:
            yield from _aggregate(standing, part, formats)
            yield from _configuration(standing, part)


def _pair(standing: Standing, seen: CharacteristicSeen, pair: _Pair) -> Iterator[Finding]:
    said = [one for one in pair.properties if one in seen.properties]
    there = seen.descriptor(pair.descriptor) is not None
    name = f"{catalogue.name_of(pair.descriptor, 'descriptor')} ({pair.descriptor:04X})"
    if said and not there:
        sentence = f"{' and '.join(said)} among its properties, but no {name}{pair.so}"
        yield Finding(f"missing-{pair.rule}", "error", standing.path, sentence, _PROPERTIES)
    if there and not said:
        sentence = f"{name} is there, but {' and '.join(pair.properties)} not among its properties"
        yield Finding(f"idle-{pair.rule}", "warning", standing.path, sentence, _PROPERTIES)


def _number_of_descriptors(standing: Standing, seen: CharacteristicSeen) -> Iterator[Finding]:
    count = Counter(each.uuid for each in seen.descriptors)
    for uuid in (each for each in count if each in _ONLY_ONE and count[each] > 1):
        sentence = f"{count[uuid]} times {catalogue.name_of(uuid, 'descriptor')}; one is the most"
        yield Finding("duplicate-descriptor", "error", standing.path, sentence, _DESCRIPTORS)
    if count[long_uuid(PRESENTATION)] > 1 and not count[long_uuid(AGGREGATE)]:
        sentence = f"{count[long_uuid(PRESENTATION)]} presentation formats (2904) without an aggregate format (2905)"
        yield Finding("missing-aggregate-format", "error", standing.path, sentence, f"{_DESCRIPTORS}.5")


def _aggregate(standing: Standing, seen: DescriptorSeen, formats: set[int]) -> Iterator[Finding]:
    """An aggregate format lists the handles of presentation formats."""
    value = seen.content.value if seen.content is not None else None
    if seen.uuid == long_uuid(AGGREGATE) and isinstance(value, dict):
        others = [f"0x{handle:04X}" for handle in value.get("handles", []) if handle not in formats]
        if others:
            sentence = f"{' and '.join(others)} among its handles, where no presentation format stands"
            yield Finding("wrong-aggregate-format", "error", standing.path, sentence, f"{_DESCRIPTORS}.6")


def _configuration(standing: Standing, seen: DescriptorSeen) -> Iterator[Finding]:
    """This bench has no bond with the device and has subscribed to nothing."""
    if seen.uuid == long_uuid(CCCD) and seen.content is not None and any(seen.content.data):
        sentence = "subscribed right after connecting: without a bond it begins with 0 at each connection"
        yield Finding("cccd-not-reset", "warning", standing.path, sentence, f"{_DESCRIPTORS}.3")
