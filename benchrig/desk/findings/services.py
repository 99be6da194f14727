"""Adopted services: what has to be in them, and what must not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from benchrig.desk.findings.look import Look
from benchrig.desk.findings.requirements import CharacteristicRule, ServiceRule, requirements
from benchrig.desk.findings.rule import Broken, Family
from benchrig.desk.inspection import CharacteristicSeen, Inspection, ServiceSeen
from benchrig.values import catalogue
from benchrig.values.catalogue import long_uuid

FAMILY = Family("services")

GENERIC_ACCESS, DEVICE_INFORMATION, HID, PNP_ID = 0x1800, 0x180A, 0x1812, 0x2A50
SEVERAL_IN_SERVICE, SEVERAL_ON_DEVICE, SEVERAL = "several in the service", "several on the device", "several "
# Each service has a source of its own.
_SPECIFICATION = "the specification of the service"


class _Service:
    """One instance of an adopted service, and its rule."""

    def __init__(self, seen: Inspection, service: ServiceSeen, rule: ServiceRule) -> None:
        self.seen, self.service, self.rule = seen, service, rule
        self.count = Counter(_short(each) for each in service.characteristics)

    def ruled(self) -> Iterator[tuple[CharacteristicSeen, CharacteristicRule]]:
        """The characteristics of which something is demanded."""
        for each in self.service.characteristics:
            others = self.rule.others if self.is_other(each) else None
            rule = self.rule.characteristics.get(_short(each), others)
            if rule is not None:
                yield each, rule

    def is_other(self, seen: CharacteristicSeen) -> bool:
        """Whether it is an assigned one that the rule does not list; of a maker's own nothing is known."""
        return _short(seen) not in self.rule.characteristics and len(_short(seen)) == 4

    def needed(self, seen: CharacteristicSeen, rule: CharacteristicRule) -> Iterator[str]:
        """What must be there since this one is."""
        yield from (uuid for uuid, condition in rule.needs.items() if not condition or self.count[condition])
        value = int.from_bytes(seen.content.data, "little") if seen.content else 0
        for mask, uuids in rule.needs_by_bit.items():
            if value & int(mask, 16):
                yield from uuids

    def holds(self, seen: CharacteristicSeen, condition: str) -> bool:
        if condition == SEVERAL_IN_SERVICE:
            return self.count[_short(seen)] > 1
        if condition == SEVERAL_ON_DEVICE:
            return sum(each.uuid == seen.uuid for _, each in self.seen.characteristics()) > 1
        if condition.startswith(SEVERAL):
            uuid = long_uuid(int(condition.removeprefix(SEVERAL), 16))
            return sum(each.uuid == uuid for each in seen.descriptors) > 1
        return not condition or condition in seen.properties

    def first(self, seen: CharacteristicSeen) -> CharacteristicSeen:
        return next(each for each in self.service.characteristics if each.uuid == seen.uuid)


def _adopted(look: Look) -> Iterator[_Service]:
    for uuid, rule in requirements().services.items():
        for service in look.seen.service(int(uuid, 16)):
            yield _Service(look.seen, service, rule)


def _ruled(look: Look) -> Iterator[tuple[_Service, CharacteristicSeen, CharacteristicRule]]:
    for one in _adopted(look):
        for seen, rule in one.ruled():
            yield one, seen, rule


@FAMILY.rule("error", requirements().services["1800"].source)
def missing_service(look: Look) -> Iterator[Broken]:
    """The service generic access, which every device has, is missing."""
    if look.seen.whole_table and not look.seen.service(GENERIC_ACCESS):
        yield Broken("", "every device has the service generic access (1800); this one has not")


@FAMILY.rule("error", "HID over GATT Profile 3.3")
def missing_pnp_id(look: Look) -> Iterator[Broken]:
    """A HID device without a pnp id.

    A host picks its driver for a keyboard by the PnP ID. The operating system may keep the HID service to itself.
    """
    seen = look.seen
    if seen.service(HID) and not any(service.all(PNP_ID) for service in seen.service(DEVICE_INFORMATION)):
        sentence = "a HID device has a device information service with a pnp id; this one has none"
        yield Broken(look.path(seen.service(HID)[0]), sentence)


@FAMILY.rule("error", _SPECIFICATION)
def duplicate_service(look: Look) -> Iterator[Broken]:
    """A service that there is only one of appears twice."""
    for uuid, rule in requirements().services.items():
        services = look.seen.service(int(uuid, 16))
        if rule.one and len(services) > 1:
            sentence = f"{len(services)} instances; a device has only one of this service"
            yield Broken(look.path(services[1]), sentence, rule.source)


@FAMILY.rule("error", _SPECIFICATION)
def missing_characteristic(look: Look) -> Iterator[Broken]:
    """A characteristic that the service demands is missing."""
    for one in _adopted(look):
        where, source = look.path(one.service), one.rule.source
        for uuid, rule in one.rule.characteristics.items():
            if rule.mandatory and not one.count[uuid]:
                yield Broken(where, f"the service demands {_named(uuid)}", source)
        for seen, rule in one.ruled():
            for uuid in (uuid for uuid in one.needed(seen, rule) if not one.count[uuid]):
                yield Broken(where, f"with {seen.name} here, the service demands {_named(uuid)}", source)


@FAMILY.rule("error", _SPECIFICATION)
def empty_service(look: Look) -> Iterator[Broken]:
    """A service of measurements has none."""
    for one in _adopted(look):
        if one.rule.least_one and not any(one.is_other(each) for each in one.service.characteristics):
            sentence = "the service demands at least one characteristic with a measurement"
            yield Broken(look.path(one.service), sentence, one.rule.source)


@FAMILY.rule("error", _SPECIFICATION)
def missing_property(look: Look) -> Iterator[Broken]:
    """A property that the service demands is missing."""
    for one, seen, rule in _ruled(look):
        if missing := rule.missing(seen.properties):
            yield Broken(look.path(seen), f"{missing} must be among its properties", one.rule.source)


@FAMILY.rule("error", _SPECIFICATION)
def excluded_property(look: Look) -> Iterator[Broken]:
    """A property that the service excludes."""
    for one, seen, rule in _ruled(look):
        if excluded := rule.excluded(seen.properties):
            yield Broken(look.path(seen), f"{excluded} must not be among its properties", one.rule.source)


@FAMILY.rule("error", _SPECIFICATION)
def missing_descriptor(look: Look) -> Iterator[Broken]:
    """A descriptor that the service demands is missing."""
    for one, seen, rule in _ruled(look):
        for uuid, condition in rule.descriptors.items():
            if one.holds(seen, condition) and seen.descriptor(int(uuid, 16)) is None:
                why = f" since {_reason(condition)}" if condition else ""
                yield Broken(look.path(seen), f"it must have {_named(uuid, 'descriptor')}{why}", one.rule.source)


@FAMILY.rule("error", _SPECIFICATION)
def duplicate_characteristic(look: Look) -> Iterator[Broken]:
    """A characteristic that there is only one of appears twice."""
    for one, seen, rule in _ruled(look):
        if rule.one and seen is not one.first(seen):
            yield Broken(look.path(seen), "a device has only one instance of it", one.rule.source)


def _short(seen: CharacteristicSeen) -> str:
    return catalogue.short_uuid(seen.uuid)


def _named(uuid: str, kind: str = "characteristic") -> str:
    name = catalogue.name_of(int(uuid, 16), kind)
    return f"{name} ({uuid})" if name else uuid


def _reason(condition: str) -> str:
    if condition in (SEVERAL_IN_SERVICE, SEVERAL_ON_DEVICE):
        return f"there are {condition}"
    if condition.startswith(SEVERAL):
        return f"it has {SEVERAL}{_named(condition.removeprefix(SEVERAL), 'descriptor')}"
    return f"{condition} is among its properties"
