"""What a command without a plan takes from a file: names of attributes, and of a plan its device and caution too."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.errors import PlanError
from benchrig.plan.loader import is_device_file, load_names
from benchrig.plan.model import Plan
from benchrig.plan.own_names import is_names_file, names_in
from benchrig.source.problem import Problem, Problems
from benchrig.source.yaml import Node, read_file
from benchrig.steps.attribute import AttributeSpec, Names, Uuid
from benchrig.values.catalogue import short_uuid
from benchrig.values.format import FormatSpec

if TYPE_CHECKING:
    from benchrig.radio.scan import Selection
    from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, ServiceSpec


@dataclass(frozen=True)
class Brought:
    names: Names
    plan: Plan | None = None

    @property
    def caution(self) -> str:
        return self.plan.caution if self.plan else ""

    def selection(self) -> Selection | None:
        """The device of a plan; the other files select none. PlanError where it waits for a value."""
        return self.plan.selection() if self.plan else None


def bring(path: Path) -> Brought:
    """From a plan, a file of names or a device file. Raises PlanError with all problems."""
    problems = Problems()
    node = read_file(path, Problems())
    if node is not None and is_names_file(node):
        names = names_in(path, node, problems)
    elif node is not None and is_device_file(node):
        names = _of_devices(path, node, problems)
    else:
        plan = load_names(path)
        return Brought(plan.names, plan)
    problems.raise_if_any()
    return Brought(names)


def _of_devices(path: Path, node: Node, problems: Problems) -> Names:
    """What a device file calls its characteristics, and how their values read."""
    from benchrig.radio.virtual.device_file import load_devices
    from benchrig.radio.virtual.device_spec import DeviceSpec

    specs: dict[str, AttributeSpec] = {}
    for device in load_devices([path], problems, any_air=True):
        for name, spec in _own(device.services) if isinstance(device, DeviceSpec) else ():
            if specs.setdefault(name, spec) != spec:
                message = f"two devices of the file have another meaning for '{name}'"
                raise PlanError([Problem(node.place, message, "write the names that you need in a file of names")])
    return Names(specs)


def _own(services: Iterable[ServiceSpec]) -> Iterator[tuple[str, AttributeSpec]]:
    """The characteristics that the file names or gives a format. Where one UUID occurs several times the service tells
    them apart, then their order."""
    listed = [(str(service.service), each) for service in services for each in service.characteristics]
    seen: Counter[tuple[str, str]] = Counter()
    for service, each in listed:
        uuid = str(each.characteristic)
        index, seen[service, uuid] = seen[service, uuid], seen[service, uuid] + 1
        if each.name or each.given():
            several = sum(str(other.characteristic) == uuid for _, other in listed) > 1
            twice = sum((at, str(other.characteristic)) == (service, uuid) for at, other in listed) > 1
            yield each.called, _spec(each, short_uuid(service) if several else None, index if twice else None)


def _spec(characteristic: CharacteristicSpec, service: str | None, index: int | None) -> AttributeSpec:
    form = {key: getattr(characteristic, key) for key in FormatSpec.__struct_fields__}
    return AttributeSpec(uuid=Uuid(characteristic.characteristic), service=service, index=index, **form)
