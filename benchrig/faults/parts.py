"""The attributes of a device, each with its path and what people call it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

from benchrig.errors import Cause
from benchrig.faults.fault import OF_DEVICE, Family, Fault, Weight, on_unit
from benchrig.faults.mutation import Change, Mutation
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, DescriptorSpec, ServiceSpec
from benchrig.radio.virtual.words import CharacteristicUuid, DescriptorUuid, ServiceUuid
from benchrig.source.shape import Misfit
from benchrig.values.catalogue import name_of, normal_uuid, short_uuid

Attribute: TypeAlias = ServiceSpec | CharacteristicSpec | DescriptorSpec


@dataclass(frozen=True)
class At:
    """Where an attribute is: its path (mutation.py), what people call it, what it is in."""

    path: str
    called: str
    spec: Any
    within: tuple[Any, ...] = ()

    def fault(
        self,
        family: Family,
        kind: str,
        says: str,
        change: Change,
        weight: Weight = "serious",
        causes: frozenset[Cause] = OF_DEVICE,
    ) -> Fault:
        """Of this attribute: `temperature: stuck`. `{it}` in the sentence is the attribute."""
        name, says = f"{self.called}: {kind}", says.replace("{it}", f"the {self.called}")
        return Fault(name, family, says, on_unit(Mutation(name, self.path, change)), weight, causes, self.path)


def services(device: DeviceSpec) -> Iterator[At]:
    """None of a device that nobody can connect to."""
    for name, service in _numbered(device.services if device.advertising.connectable else [], "service"):
        yield At(name, service_called(service), service)


def characteristics(device: DeviceSpec) -> Iterator[At]:
    for service in services(device):
        for name, one in _numbered(service.spec.characteristics, "characteristic"):
            yield At(f"{service.path}/{name}", characteristic_called(one), one, (service.spec,))


def descriptors(device: DeviceSpec) -> Iterator[At]:
    for owner in characteristics(device):
        for name, one in _numbered(owner.spec.descriptors, "descriptor"):
            called = f"{owner.called}/{_name(one.descriptor)}"
            yield At(f"{owner.path}/{name}", called, one, (*owner.within, owner.spec))


def service_called(service: ServiceSpec) -> str:
    """With the word 'service', which tells it from a characteristic."""
    name = _name(service.service)
    return name if name.endswith("service") else f"{name} service"


def characteristic_called(one: CharacteristicSpec) -> str:
    return one.name or _name(one.characteristic)


def _name(uuid: ServiceUuid | CharacteristicUuid | DescriptorUuid) -> str:
    """As the device file has it; of a UUID its standard name, else what tells it from others of its maker."""
    try:
        normal_uuid(uuid.written)
    except Misfit:
        return uuid.written
    return name_of(uuid, uuid.kind) or short_uuid(uuid).partition("-")[0]


def _numbered(parts: Iterable[Any], uuid: str) -> Iterator[tuple[str, Any]]:
    """Each with its UUID and which one of that UUID it is, as paths have it."""
    seen: Counter[str] = Counter()
    for part in parts:
        name = str(getattr(part, uuid))
        yield f"{name}[{seen[name]}]" if seen[name] else name, part
        seen[name] += 1
