"""The attribute table of a unit as far as the steps of a record show it: what they name, and what they found missing.

A record names an attribute as a plan may: '180F/2A19[1]'. It does not say in which service an attribute is that is named
alone, nor at which handle.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from benchrig.errors import BenchrigError
from benchrig.plan.model import Plan
from benchrig.radio.virtual.gatt_spec import PROPERTIES
from benchrig.record.model import Execution, Record
from benchrig.replay.story import Characteristic, Descriptor, Service
from benchrig.source.shape import Misfit
from benchrig.steps.discover import Discover, ExpectedTable
from benchrig.values.catalogue import name_of, normal_uuid

# Of what is named without its service.
SOME_SERVICE = "5d2e0000-8f41-4b57-9c0e-6a1f3b7c9d00"
_PART = re.compile(r"([0-9A-Fa-f-]+)(?:\[(\d+)\])?")
MISSING = re.compile(r"the device has no attribute '")
AMBIGUOUS = re.compile(r"is ambiguous, (\d+) attributes answer to it: ([^/;]+)/")
LACKING = re.compile(r"does not offer .*; its properties: (.*)")


@dataclass
class WrittenTable:
    """`find` gives the characteristic of a subject; the services are in the order in which steps name them."""

    names: dict[str, str]
    guesses: list[str]
    services: list[Service] = field(default_factory=list)
    _missing: set[str] = field(default_factory=set)

    def take(self, record: Record, plan: Plan | None, key: str) -> None:
        """All that the steps name, but what they found missing."""
        executions = [each for each in record.executions if each.planned.device == key]
        self._missing = {each.planned.subject for each in executions if MISSING.search(_message(each))}
        for each in executions:
            self._several(each)
            self._discovered(each, plan)
        for each in executions:
            one = self.find(each.planned.subject)
            if one is not None:
                self._properties(each, one)

    def find(self, subject: str, service: str = "") -> Characteristic | None:
        """None for what is missing, or is named by its handle. `service`: where it is put when it is new."""
        parts = [_PART.fullmatch(part) for part in subject.split("/")]
        if not subject or subject in self._missing or not all(parts):
            return None
        path = [(normal_uuid(part[1]), int(part[2] or 0)) for part in parts if part]
        descriptor = path.pop() if _is_descriptor(path) else None
        if not path:
            return None
        uuid, index = path[-1]
        one = self._characteristic(path[0][0] if len(path) > 1 else service, uuid, index)
        if descriptor and not any(part.uuid == descriptor[0] for part in one.descriptors):
            one.descriptors.append(Descriptor(descriptor[0]))
        return one

    def _characteristic(self, service: str, uuid: str, index: int) -> Characteristic:
        there = [
            one
            for each in self.services
            for one in each.characteristics
            if one.uuid == uuid and (not service or each.uuid == service)
        ]
        if index < len(there):
            return there[index]
        if not service:
            said = "the service of an attribute that the plan names alone"
            self.guesses += [] if said in self.guesses else [said]
        one = Characteristic(self._new_name(uuid), uuid, [])
        self._service(service or SOME_SERVICE).characteristics.append(one)
        return one if index == len(there) else self._characteristic(service, uuid, index)

    def _service(self, uuid: str) -> Service:
        found = next((each for each in self.services if each.uuid == uuid), None)
        if found is None:
            found = Service(uuid)
            self.services.append(found)
        return found

    def _new_name(self, uuid: str) -> str:
        name = self.names.get(uuid) or name_of(uuid, "characteristic") or uuid
        taken = {one.key for each in self.services for one in each.characteristics}
        return next(called for called in [name, *(f"{name} ({n})" for n in range(2, 1000))] if called not in taken)

    # --- what one step shows

    def _properties(self, each: Execution, one: Characteristic) -> None:
        message = _message(each)
        if lacking := LACKING.search(message):
            one.properties = [name for part in lacking[1].split(",") if (name := part.strip()) in PROPERTIES]
        elif AMBIGUOUS.search(message):
            return
        elif name := {"read": "read", "write": "write", "notify": "notify", "exchange": "write"}.get(each.planned.kind):
            self.add(one, name)

    def _several(self, each: Execution) -> None:
        """A name that fits several attributes, which are of one service."""
        several = AMBIGUOUS.search(_message(each))
        if several and each.planned.subject:
            uuid = normal_uuid(each.planned.subject.rpartition("/")[2].partition("[")[0])
            for index in range(int(several[1])):
                self._characteristic(_service_uuid(several[2]), uuid, index)

    def add(self, one: Characteristic, name: str) -> None:
        if name not in one.properties:
            one.properties.append(name)

    def _discovered(self, each: Execution, plan: Plan | None) -> None:
        """The table that a step compared: what it expected, with the differences that it found."""
        step = None if plan is None else next((s.step for s in plan.steps if s.id == each.planned.id), None)
        expected = step.expect.table if isinstance(step, Discover) else None
        if (
            plan is None
            or not isinstance(expected, ExpectedTable)
            or each.ended is None
            or each.ended.verdict == "skip"
        ):
            return
        differences = _differences(each)
        for name, characteristics in expected.services.items():
            if f"{name} is missing" in differences:
                continue
            service = _service_uuid(name.partition("[")[0], plan)
            self._service(service)
            for called, properties in characteristics.items():
                self._expected(service, name, called, properties, plan, differences)
            for label in _unexpected(differences, name):
                one = self._characteristic(service, _characteristic_uuid(label, plan), 0)
                self.guesses.append(f"the properties of {one.key}, which was not expected")

    def _expected(
        self, service: str, within: str, called: str, properties: Iterable[str], plan: Plan, differences: set[str]
    ) -> None:
        path = f"{within}/{called}"
        try:
            address = next(iter(plan.devices.values())).names.meaning(called).address
        except (Misfit, BenchrigError):
            return
        if f"{path} is missing" in differences or not address.path or address.path[-1].uuid is None:
            return
        one = self._characteristic(service, address.path[-1].uuid, address.path[-1].index or 0)
        lacks = {name for text in differences if text.startswith(f"{path} lacks") for name in _listed(text, "lacks")}
        more = {name for text in differences if text.startswith(path) for name in _listed(text, "also has")}
        for name in [*(each for each in properties if each not in lacks), *sorted(more)]:
            self.add(one, name)


def _unexpected(differences: set[str], service: str) -> Iterable[str]:
    """Names of what the service has too much."""
    for text in differences:
        label, found, _ = text.removeprefix(f"{service}/").partition(" is unexpected")
        if found and text.startswith(f"{service}/"):
            yield label


def _characteristic_uuid(label: str, plan: Plan) -> str:
    address = next(iter(plan.devices.values())).names.meaning(label).address
    return (address.path[-1].uuid if address.path else None) or SOME_SERVICE


def _listed(text: str, word: str) -> list[str]:
    _, found, rest = text.partition(f" {word} ")
    return [name.strip() for name in rest.partition(" and ")[0].split(",")] if found else []


def _differences(each: Execution) -> set[str]:
    """As the limit on the table told them."""
    told = next((r.judgement.sentence for r in each.readings if r.name == "table" and r.judgement), "")
    return {part.removeprefix("service ") for part in told.split("; ")}


def _service_uuid(name: str, plan: Plan | None = None) -> str:
    try:
        if plan is not None:
            return next(iter(plan.devices.values())).names.service(name)
        from benchrig.radio.virtual.words import ServiceUuid

        return str(ServiceUuid.from_source(name))
    except Misfit:
        return SOME_SERVICE


def _is_descriptor(path: list[tuple[str, int]]) -> bool:
    return len(path) > 1 and path[-1][0].startswith("000029") and not name_of(path[-1][0], "characteristic")


def _message(each: Execution) -> str:
    return each.ended.message if each.ended else ""
