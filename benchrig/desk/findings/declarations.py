"""Properties and descriptors that belong together, whatever the characteristic is (Core specification Vol 3 Part G 3.3)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.rule import Broken, Family, Rule
from benchrig.desk.inspection import CharacteristicSeen
from benchrig.values import catalogue
from benchrig.values.catalogue import long_uuid

FAMILY = Family("declarations")

CCCD, PRESENTATION, AGGREGATE = (long_uuid(number) for number in (0x2902, 0x2904, 0x2905))
# A characteristic has at most one of each: 3.3.3.1 to 3.3.3.4 and 3.3.3.6.
_ONLY_ONE = {long_uuid(number) for number in (0x2900, 0x2901, 0x2902, 0x2903, 0x2905)}
_PROPERTIES = "Core specification Vol 3 Part G 3.3.1.1"
_DESCRIPTORS = "Core specification Vol 3 Part G 3.3.3"


@dataclass(frozen=True)
class _Pair:
    """A descriptor that has to be there when one of the properties is, and means nothing without."""

    properties: tuple[str, ...]
    descriptor: int
    rule: str
    so: str = ""  # what follows when it is missing

    @property
    def name(self) -> str:
        return f"{catalogue.name_of(self.descriptor, 'descriptor')} ({self.descriptor:04X})"

    def said(self, seen: CharacteristicSeen) -> list[str]:
        return [one for one in self.properties if one in seen.properties]


_PAIRS = (
    _Pair(("notify", "indicate"), 0x2902, "cccd", ": nobody can subscribe"),
    _Pair(("broadcast",), 0x2903, "sccd", ": nobody can have it broadcast"),
    _Pair(("extended properties",), 0x2900, "extended-properties"),
)


def _missing(pair: _Pair, look: Look) -> Iterator[Broken]:
    for standing, seen in look.characteristics():
        if (said := pair.said(seen)) and seen.descriptor(pair.descriptor) is None:
            yield Broken(standing.path, f"{' and '.join(said)} among its properties, but no {pair.name}{pair.so}")


def _idle(pair: _Pair, look: Look) -> Iterator[Broken]:
    for standing, seen in look.characteristics():
        if seen.descriptor(pair.descriptor) is not None and not pair.said(seen):
            sentence = f"{pair.name} is there, but {' and '.join(pair.properties)} not among its properties"
            yield Broken(standing.path, sentence)


for _pair in _PAIRS:
    _said, _number = " or ".join(f"`{one}`" for one in _pair.properties), f"{_pair.descriptor:04X}"
    FAMILY.rules.extend([
        Rule(f"missing-{_pair.rule}", "error", _PROPERTIES, f"{_said} is among the properties, and the descriptor {_number} is missing", partial(_missing, _pair)),
        Rule(f"idle-{_pair.rule}", "warning", _PROPERTIES, f"The descriptor {_number} without {_said} among the properties", partial(_idle, _pair)),
    ])  # fmt: skip


@FAMILY.rule("error", _DESCRIPTORS)
def duplicate_descriptor(look: Look) -> Iterator[Broken]:
    """A descriptor that there is only one of appears twice."""
    for standing, seen in look.characteristics():
        count = Counter(each.uuid for each in seen.descriptors)
        for uuid in (each for each in count if each in _ONLY_ONE and count[each] > 1):
            sentence = f"{count[uuid]} times {catalogue.name_of(uuid, 'descriptor')}; one is the most"
            yield Broken(standing.path, sentence)


@FAMILY.rule("error", f"{_DESCRIPTORS}.5")
def missing_aggregate_format(look: Look) -> Iterator[Broken]:
    """Several presentation formats without the descriptor that puts them in order."""
    for standing, seen in look.characteristics():
        count = Counter(each.uuid for each in seen.descriptors)
        if count[PRESENTATION] > 1 and not count[AGGREGATE]:
            sentence = f"{count[PRESENTATION]} presentation formats (2904) without an aggregate format (2905)"
            yield Broken(standing.path, sentence)


@FAMILY.rule("error", f"{_DESCRIPTORS}.6")
def wrong_aggregate_format(look: Look) -> Iterator[Broken]:
    """An aggregate format lists a handle that is not that of a presentation format."""
    formats = {seen.handle for _, seen in look.descriptors() if seen.uuid == PRESENTATION}  # of the whole device
    for standing, content in look.sound(AGGREGATE) if look.seen.whole_table else ():
        handles = content.value.get("handles", []) if isinstance(content.value, dict) else []
        others = [f"0x{handle:04X}" for handle in handles if handle not in formats]
        if others:
            sentence = f"{' and '.join(others)} among its handles, but no presentation format has that handle"
            yield Broken(standing.path, sentence)


@FAMILY.rule("warning", f"{_DESCRIPTORS}.3")
def cccd_not_reset(look: Look) -> Iterator[Broken]:
    """Subscribed right after connecting, to a client without a bond.

    This bench has no bond with the device and has subscribed to nothing.
    """
    for standing, content in look.sound(CCCD):
        if any(content.data):
            sentence = "subscribed right after connecting: without a bond it begins with 0 at each connection"
            yield Broken(standing.path, sentence)
