"""Each way in which a device could ask for a little less than it does: what a plan for its security has to notice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any, TypeAlias

from benchrig.faults.mutation import Change, Mutation, replaced
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, DescriptorSpec
from benchrig.radio.virtual.needs_spec import LEVELS, Need

Attribute: TypeAlias = CharacteristicSpec | DescriptorSpec
_KEYS = ("read_needs", "write_needs", "subscribe_needs")


def weakenings(device: DeviceSpec) -> Iterator[Mutation]:
    """One attribute each, one requirement each: every lower level, any size of the key, no authorization."""
    for path, called, attribute in _attributes(device):
        for words, change in _losses(attribute):
            yield Mutation(f"{called}: {words}", path, change)


def _attributes(device: DeviceSpec) -> Iterator[tuple[str, str, Attribute]]:
    """Each with its path and what it is called."""
    for at, service in _numbered(device.services, "service"):
        for inner, characteristic in _numbered(service.characteristics, "characteristic"):
            path = f"{at}/{inner}"
            yield path, characteristic.called, characteristic
            for last, descriptor in _numbered(characteristic.descriptors, "descriptor"):
                yield f"{path}/{last}", f"{characteristic.called}/{descriptor.descriptor.written}", descriptor


def _numbered(parts: Iterable[Any], uuid: str) -> Iterator[tuple[str, Any]]:
    """Each with its UUID and which one of that UUID it is, as paths have it."""
    seen: Counter[str] = Counter()
    for part in parts:
        name = str(getattr(part, uuid))
        yield f"{name}[{seen[name]}]", part
        seen[name] += 1


def _losses(attribute: Attribute) -> Iterator[tuple[str, Change]]:
    if isinstance(attribute, CharacteristicSpec) and attribute.encrypted:
        yield "read_needs nothing", replaced(encrypted=False, write_needs="encrypted")
        yield "write_needs nothing", replaced(encrypted=False, read_needs="encrypted")
    for key in _KEYS:
        for less in _below(getattr(attribute, key, None)):
            yield f"{key} {less or 'nothing'}", replaced(**{key: less})
    if attribute.key_size_needed is not None:
        yield "any size of the key", replaced(key_size_needed=None)
    if not attribute.authorized:
        yield "nobody needs authorization", replaced(authorized=True)


def _below(need: Need | None) -> list[Need | None]:
    return [less for less in LEVELS if LEVELS[less] < LEVELS[need]]
