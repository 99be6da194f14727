"""Adopted services: what has to be in them, and what must not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from benchrig.desk.findings.finding import Finding
from benchrig.desk.findings.requirements import CharacteristicRule, ServiceRule, requirements
from benchrig.desk.inspection import CharacteristicSeen, Inspection, ServiceSeen
from benchrig.desk.paths import path_of
from benchrig.values import catalogue
from benchrig.values.catalogue import long_uuid

GENERIC_ACCESS, DEVICE_INFORMATION, HID, PNP_ID = 0x1800, 0x180A, 0x1812, 0x2A50
# What extended properties and their descriptor add may stand anywhere; some systems list it among the properties.
JUDGED = ("broadcast", "read", "write without response", "write", "notify", "indicate", "signed write")
SEVERAL_IN_SERVICE, SEVERAL_ON_DEVICE, SEVERAL = "several in the service", "several on the device", "several "


def judge(seen: Inspection) -> Iterator[Finding]:
    if seen.whole_table and not seen.service(GENERIC_ACCESS):
        source = requirements().services["1800"].source
        yield Finding(
            "missing-service",
            "error",
            "",
            "every device has the service generic access (1800); this one has not",
            source,
        )
    yield from _without_plug_and_play(seen)
    for uuid, rule in requirements().services.items():
        services = seen.service(int(uuid, 16))
        if rule.one and len(services) > 1:
            sentence = f"{len(services)} instances; a device has only one of this service"
            yield Finding("duplicate-service", "error", path_of(seen, services[1]), sentence, rule.source)
        for service in services:
            yield from _Service(seen, service, rule).judge()


def _without_plug_and_play(seen: Inspection) -> Iterator[Finding]:
    """A host picks its driver for a keyboard by the PnP ID. The operating system may keep the HID service to itself."""
    if seen.service(HID) and not any(service.all(PNP_ID) for service in seen.service(DEVICE_INFORMATION)):
        sentence = "a HID device has a device information service with a pnp id; this one has none"
        yield Finding(
            "missing-pnp-id", "error", path_of(seen, seen.service(HID)[0]), sentence, "HID over GATT Profile 3.3"
        )


class _Service:
    """One instance of an adopted service against its rule."""

    def __init__(self, seen: Inspection, service: ServiceSeen, rule: ServiceRule) -> None:
        self.seen, self.service, self.rule = seen, service, rule
        self.count = Counter(_short(each) for each in service.characteristics)

    def judge(self) -> Iterator[Finding]:
        for uuid, rule in self.rule.characteristics.items():
            if rule.mandatory and not self.count[uuid]:
                yield self._error("missing-characteristic", self.service, f"the service demands {_named(uuid)}")
        if self.rule.least_one and not any(self._is_other(each) for each in self.service.characteristics):
            yield self._error(
                "empty-service", self.service, "the service demands at least one characteristic with a measurement"
            )
        for characteristic in self.service.characteristics:
            rule_of = self._rule(characteristic)
            if rule_of is not None:
                yield from self._characteristic(characteristic, rule_of)

    def _rule(self, characteristic: CharacteristicSeen) -> CharacteristicRule | None:
        return self.rule.characteristics.get(
            _short(characteristic), self.rule.others if self._is_other(characteristic) else None
        )

    def _is_other(self, characteristic: CharacteristicSeen) -> bool:
        """Whether it is an assigned one that the rule does not list; of a maker's own nothing is known."""
        return _short(characteristic) not in self.rule.characteristics and len(_short(characteristic)) == 4

    def _characteristic(self, seen: CharacteristicSeen, rule: CharacteristicRule) -> Iterator[Finding]:
        yield from self._properties(seen, rule)
        yield from self._descriptors(seen, rule)
        if rule.one and seen is not self._first(seen):
            yield self._error("duplicate-characteristic", seen, "a device has only one instance of it")
        for uuid in (uuid for uuid in self._needed(seen, rule) if not self.count[uuid]):
            sentence = f"with {seen.name} here, the service demands {_named(uuid)}"
            yield self._error("missing-characteristic", self.service, sentence)

    def _properties(self, seen: CharacteristicSeen, rule: CharacteristicRule) -> Iterator[Finding]:
        missing = [one for one in rule.must if one not in seen.properties]
        excluded = [one for one in seen.properties if one in JUDGED and one not in (*rule.must, *rule.may)]
        if missing:
            yield self._error("missing-property", seen, f"{' and '.join(missing)} must be among its properties")
        if excluded:
            yield self._error("excluded-property", seen, f"{' and '.join(excluded)} must not be among its properties")

    def _descriptors(self, seen: CharacteristicSeen, rule: CharacteristicRule) -> Iterator[Finding]:
        for uuid, condition in rule.descriptors.items():
            if self._holds(seen, condition) and seen.descriptor(int(uuid, 16)) is None:
                why = f" since {_reason(condition)}" if condition else ""
                yield self._error("missing-descriptor", seen, f"it must have {_named(uuid, 'descriptor')}{why}")

    def _needed(self, seen: CharacteristicSeen, rule: CharacteristicRule) -> Iterator[str]:
        yield from (uuid for uuid, condition in rule.needs.items() if not condition or self.count[condition])
        value = int.from_bytes(seen.content.data, "little") if seen.content else 0
        for mask, uuids in rule.needs_by_bit.items():
            if value & int(mask, 16):
                yield from uuids

    def _holds(self, seen: CharacteristicSeen, condition: str) -> bool:
        if condition == SEVERAL_IN_SERVICE:
            return self.count[_short(seen)] > 1
        if condition == SEVERAL_ON_DEVICE:
            return sum(each.uuid == seen.uuid for _, each in self.seen.characteristics()) > 1
        if condition.startswith(SEVERAL):
            uuid = long_uuid(int(condition.removeprefix(SEVERAL), 16))
            return sum(each.uuid == uuid for each in seen.descriptors) > 1
        return not condition or condition in seen.properties

    def _first(self, seen: CharacteristicSeen) -> CharacteristicSeen:
        return next(each for each in self.service.characteristics if each.uuid == seen.uuid)

    def _error(self, rule: str, part: ServiceSeen | CharacteristicSeen, sentence: str) -> Finding:
        return Finding(rule, "error", path_of(self.seen, part), sentence, self.rule.source)


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
