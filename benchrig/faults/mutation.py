"""A changed device is a function from one specification to another.

    level = Mutation("the battery level is not read", "battery/battery level", replaced(properties=["notify"]))
    broken = level.apply(sound)

A path is the way to an attribute, '' for the device: services, characteristics and descriptors by the names or UUIDs that
device files take, `[1]` behind the second of its name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

import msgspec

from benchrig.radio.virtual.behaviour import Behaviour
from benchrig.radio.virtual.behaviours import in_order
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, DescriptorSpec, ServiceSpec
from benchrig.radio.virtual.words import CharacteristicUuid, DescriptorUuid, ServiceUuid
from benchrig.source.shape import Misfit

Part: TypeAlias = DeviceSpec | ServiceSpec | CharacteristicSpec | DescriptorSpec
# A part becomes another one; None takes it away.
Change: TypeAlias = Callable[[Any], Any]

# What a part consists of: the field with the parts in it, the field with their UUIDs, how these are read.
_WITHIN: dict[type[Part], tuple[str, str, Any]] = {
    DeviceSpec: ("services", "service", ServiceUuid),
    ServiceSpec: ("characteristics", "characteristic", CharacteristicUuid),
    CharacteristicSpec: ("descriptors", "descriptor", DescriptorUuid),
}


@dataclass(frozen=True)
class Mutation:
    name: str
    path: str
    change: Change

    def apply(self, device: DeviceSpec) -> DeviceSpec:
        """Raises Misfit for a path that leads nowhere."""
        changed: DeviceSpec = _changed(device, self.path.split("/") if self.path else [], self.change)
        return changed


def _changed(part: Any, path: list[str], change: Change) -> Any:
    if not path:
        return change(part)
    field, uuid, read = _WITHIN[type(part)]
    parts = getattr(part, field)
    name, _, index = path[0].removesuffix("]").partition("[")
    twins = [at for at, one in enumerate(parts) if getattr(one, uuid) == read.from_source(name)]
    if int(index or 0) >= len(twins):
        raise Misfit(f"there is no '{path[0]}'")
    at = twins[int(index or 0)]
    made = _changed(parts[at], path[1:], change)
    return msgspec.structs.replace(part, **{field: [*parts[:at], *([] if made is None else [made]), *parts[at + 1 :]]})


def replaced(**fields: Any) -> Change:
    """Other values in these fields."""
    return lambda part: msgspec.structs.replace(part, **fields)


def within(field: str, change: Change) -> Change:
    """The change of what stands in this field: `within("advertising", replaced(connectable=False))`."""
    return lambda part: msgspec.structs.replace(part, **{field: change(getattr(part, field))})


def dropped(part: Part) -> None:
    """The part is not there."""


def added(*parts: Part) -> Change:
    """Further services of a device, characteristics of a service or descriptors of a characteristic, at the end."""
    return lambda part: within(_WITHIN[type(part)][0], lambda present: [*present, *parts])(part)


def behaving(block: str, *behaviours: Behaviour) -> Change:
    """Further behaviours, before those that are there: of a characteristic in `on_read`, `on_write` or `on_notify`, of the
    device in `on_request` or `faults`."""
    return within(block, within("behaviours", lambda present: in_order((*behaviours, *present))))


def in_turn(*changes: Change) -> Change:
    """Several changes of one part."""

    def change(part: Any) -> Any:
        for one in changes:
            part = one(part)
        return part

    return change
