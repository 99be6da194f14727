"""The attributes of the sound device as a plan may write them, and the steps that a draft of it would have."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from benchrig.desk.inspection import ServiceSeen
from benchrig.desk.prompt.limits import value_of
from benchrig.draft.attributes import AttributeEvidence
from benchrig.draft.compose import Drafted, drafted
from benchrig.draft.evidence import Evidence
from benchrig.escapes.proposals.evidence import of_good, of_sound
from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.wording import service_name, spec_data
from benchrig.plan.writing import StepText
from benchrig.propose.proposal import Basis
from benchrig.propose.value import IDENTITIES
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, ServiceSpec
from benchrig.source.writing import Quoted
from benchrig.steps.attribute import AttributeSpec, Names, Uuid
from benchrig.steps.discover import PROPERTIES
from benchrig.values.catalogue import name_of
from benchrig.values.format import FormatSpec


@dataclass(frozen=True, eq=False)
class Subject:
    """A characteristic: what a step has behind its verb, the format that it has to name, what the device file says."""

    name: str
    keys: dict[str, Any]
    seen: AttributeEvidence
    spec: CharacteristicSpec | None

    @property
    def read(self) -> bytes | None:
        """What was read, where that was the same each time."""
        reads = {data for each in self.seen.reads.values() for data in each}
        return next(iter(reads)) if len(reads) == 1 else None

    @property
    def value(self) -> bytes | None:
        """The same where another good unit has it too: no serial number, and no measured value."""
        form = self.seen.form
        is_measured = form is not None and any(leaf.unit for leaf in (form, *(form.leaves() or {}).values()))
        return None if self.seen.uuid in IDENTITIES or (is_measured and not self.seen.is_setting) else self.read

    def example(self) -> bytes:
        """A value that the device file has for it; nothing where that says none."""
        return b"" if self.spec is None else example_of(self.spec)

    def written(self, data: bytes) -> dict[str, Any]:
        """The keys of a step that writes this: a value where the plan has a format for it."""
        value = self._value(data)
        return {"raw": Quoted(data.hex(" ").upper())} if value is None else {"value": value}

    def reading(self, name: str, data: bytes) -> StepText:
        """A step that reads just this."""
        value = self._value(data)
        if value is None:
            step = StepText("read", self.name, {"name": name})
            step.hold("raw", {"equals": Quoted(data.hex(" ").upper())})
        else:
            step = self.step("read", name)
            step.hold("value", {"equals": value})
        return step

    def _value(self, data: bytes) -> Any:
        form = self.seen.form
        return None if form is None or form.kind not in ("number", "text") else value_of(form, data)

    def step(self, verb: str, name: str, **keys: Any) -> StepText:
        """A step about it."""
        named = {"name": name}
        form = self.keys if verb in ("read", "notify", "exchange") or "value" in keys else {}
        return StepText(verb, self.name, {**named, **form, **keys})


def example_of(spec: CharacteristicSpec) -> bytes:
    form, examples = spec.source.format, spec.source.pattern.examples()
    if form is not None and examples:
        return form.encode(examples[0])
    return next((bytes(each) for each in examples), b"")


@dataclass
class Attributes:
    """Of the one device of a plan. `found` is what a draft of it has, `good` what one of all good units has."""

    ground: Ground
    evidence: Evidence = field(init=False)
    found: Drafted = field(init=False)
    good: Drafted = field(init=False)

    def __post_init__(self) -> None:
        named = _named(self.ground.unit)
        told = {str(spec.uuid) for spec in named.values()}
        plain = {name for name, spec in self._own.items() if str(spec.uuid) in told and not _format(spec)}
        names = Names({**named, **{name: spec for name, spec in self._own.items() if name not in plain}})
        self.evidence = of_sound(self.ground, names)
        self.found = drafted(self.evidence, names, Basis())
        self.good = drafted(of_good(self.ground, names, self.evidence), names, Basis())

    @property
    def _own(self) -> Mapping[str, AttributeSpec]:
        """The names of the plan. One that says no format leaves that to the device file."""
        return self.ground.plan.names.aliases

    @property
    def services(self) -> list[ServiceSeen]:
        """All that the table has, also what every device has."""
        return self.evidence.looks[0].services

    @cached_property
    def subjects(self) -> list[Subject]:
        """Those that the device file has, in the order of the table."""
        return [
            self._subject(each, spec)
            for each, spec in zip(self._characteristics, self._specs, strict=True)
        ]  # fmt: skip

    @property
    def _characteristics(self) -> list[AttributeEvidence]:
        own = {str(service.service) for service in self.ground.unit.services}
        return [
            each for each in self.found.subjects
            if each.place and not each.is_descriptor and each.place.service in own
        ]  # fmt: skip

    @property
    def _specs(self) -> list[CharacteristicSpec]:
        return [each for service in self.ground.unit.services for each in service.characteristics]

    def _subject(self, seen: AttributeEvidence, spec: CharacteristicSpec) -> Subject:
        name, keys = self._written(seen.name)
        return Subject(name, keys | ({"format": spec_data(seen.own)} if seen.own else {}), seen, spec)

    def _written(self, name: str) -> tuple[str, dict[str, Any]]:
        """A name of the draft as the plan can write it, which lacks the names that the draft has made."""
        head, slash, rest = name.partition("/")
        alias = self.found.aliases.get(head)
        if alias is None or head in self._own:
            return name, {}
        own = (each for each, spec in self._own.items() if spec.uuid and spec.uuid == alias.uuid)
        where = next(own, str(alias.uuid) if alias.uuid else f"handle {alias.handle}")
        return where + slash + rest, {} if slash else _format(alias)

    def table(self) -> dict[str, dict[str, list[str]]]:
        """All services of the device file with their characteristics and properties, as a table of a plan has them."""
        services = self.ground.unit.services
        counts = Counter(str(each.service) for each in services)
        indexes, found = Counter[str](), dict[str, dict[str, list[str]]]()
        for service in services:
            uuid = str(service.service)
            index = f"[{indexes[uuid]}]" if counts[uuid] > 1 else ""
            indexes[uuid] += 1
            found[service_name(uuid) + index] = self._rows(service)
        return found

    def _rows(self, service: ServiceSpec) -> dict[str, list[str]]:
        counts = Counter(str(each.characteristic) for each in service.characteristics)
        indexes, rows = Counter[str](), dict[str, list[str]]()
        for each in service.characteristics:
            uuid = str(each.characteristic)
            index = f"[{indexes[uuid]}]" if counts[uuid] > 1 else ""
            indexes[uuid] += 1
            rows[self._word(uuid) + index] = [name for name in PROPERTIES if name in each.properties]
        return rows

    def _word(self, uuid: str) -> str:
        """A name of the plan or of the catalogue that means this UUID, else the UUID."""
        own = [name for name, spec in self.ground.plan.names.aliases.items() if str(spec.uuid) == uuid]
        return next(iter(own), None) or name_of(uuid, "characteristic") or uuid

    def steps(self, draft: Drafted | None = None) -> Iterator[StepText]:
        """Those of a draft, of all good units without any, about attributes and their table, with names that the plan has."""
        for step in (draft or self.good).steps:
            if isinstance(step.subject, str):
                name, keys = self._written(step.subject)
                step = replace(step, subject=name, keys={**keys, **step.keys})
            yield step


def _format(alias: AttributeSpec) -> dict[str, Any]:
    form = FormatSpec(**{name: getattr(alias, name) for name in FormatSpec.__struct_fields__})
    return {"format": spec_data(form)} if form != FormatSpec(as_="hex") else {}


def _named(unit: DeviceSpec) -> dict[str, AttributeSpec]:
    """What the device file calls attributes that have no name of their own, with their formats."""
    specs = [each for service in unit.services for each in service.characteristics]
    often = Counter(str(each.characteristic) for each in specs)
    return {
        each.name: AttributeSpec(
            uuid=Uuid(each.characteristic), **{name: getattr(each, name) for name in FormatSpec.__struct_fields__}
        )
        for each in specs
        if each.name and each.given() and often[str(each.characteristic)] == 1
    }
