"""Escapes that no plan could catch: the broken device differs from the sound one in nothing that leaves it, or in
nothing that the air does not do to the sound one too.

A rule takes what is hidden out of a device. Where both are the same after that, no request and no listening can tell them
apart. A rule is as narrow as its reason: an escape that is argued away wrongly is worse than one that is told too often.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import msgspec

from benchrig.faults.fault import Scene
from benchrig.radio.virtual.behaviours import RefuseConnections
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import PROPERTIES, UPDATES, WRITES, CharacteristicSpec
from benchrig.radio.virtual.reaction_spec import DoingSpec, ReadSpec, WriteSpec
from benchrig.radio.virtual.sources import Constant, Fields, Noise, Pattern

_LEAVES = PROPERTIES["read"] | UPDATES


def equivalent(broken: Scene, sound: Scene) -> str:
    """Why the two behave alike; '' where no rule says so. But for the unit the two scenes have to be the same."""
    if (
        replace(broken, devices=()) != replace(sound, devices=())
        or broken.with_unit(sound.unit).devices != sound.devices
    ):
        return ""
    return next((why for why, rule in RULES if rule(broken.unit) == rule(sound.unit)), "")


def sends_no_value(device: DeviceSpec) -> DeviceSpec:
    """`distorted` changes values on their way out. Without read, notify and indicate, hidden ones too, there is no way:
    a read is refused by the properties, before there is a value."""

    def hidden(one: CharacteristicSpec) -> CharacteristicSpec:
        return one if one.property_bits & _LEAVES else msgspec.structs.replace(one, distorted=None)

    return _each(device, hidden)


def has_nothing_to_lose(device: DeviceSpec) -> DeviceSpec:
    """`volatile` puts a value back to what the file says, where it is anyway as long as nothing moves it: no write, no
    `set` or `notify` of anything that happens, no progress of its own. What can neither be read nor subscribed to may move, where the
    device does nothing that could depend on it."""
    doings = [*_doings(device)]
    moved = {name.partition(".")[0] for doing in doings for name in (*doing.set, *doing.notify)}
    acts = any(
        doing.set or doing.notify or doing.print or doing.enter or getattr(doing, "only_if", None) for doing in doings
    )

    def settled(one: CharacteristicSpec) -> CharacteristicSpec:
        stays = one.called not in moved and not one.property_bits & WRITES and _is_settled(one.source.pattern)
        unseen = not one.property_bits & _LEAVES and not acts
        return msgspec.structs.replace(one, volatile=False) if stays or unseen else one

    return _each(device, settled)


def lets_nobody(device: DeviceSpec) -> DeviceSpec:
    """Each read and each write is refused for want of authorization before `on_read` or `on_write` is looked at."""

    def closed(one: CharacteristicSpec) -> CharacteristicSpec:
        return one if one.authorized else msgspec.structs.replace(one, on_read=ReadSpec(), on_write=WriteSpec())

    return _each(device, closed)


def loses_one_request(device: DeviceSpec) -> DeviceSpec:
    """A request for a connection that gets no answer is what any air does to good units. One in the life of a unit is within
    the chance of one run, so a limit that notices it rejects good units on rough air. A plan that catches it all the same
    is not asked. Two of these may meet in a row, which is worse than the air: they stay."""
    found = [one for one in device.faults.behaviours if isinstance(one, RefuseConnections)]
    if len(found) != 1 or found[0].refuse_connections > 1:
        return device
    kept = tuple(one for one in device.faults.behaviours if one is not found[0])
    return msgspec.structs.replace(device, faults=msgspec.structs.replace(device.faults, behaviours=kept))


RULES: tuple[tuple[str, Callable[[DeviceSpec], DeviceSpec]], ...] = (
    ("the value never leaves the device: it can be neither read nor subscribed to", sends_no_value),
    ("nobody is authorized to read or write the value: each request is refused before", lets_nobody),
    ("a restart loses nothing: no value of the device moves, or none that does is ever seen", has_nothing_to_lose),
    ("one request for a connection is lost in the life of the unit, as on any air", loses_one_request),
)


def _each(device: DeviceSpec, change: Callable[[CharacteristicSpec], CharacteristicSpec]) -> DeviceSpec:
    """The device with all its characteristics changed."""
    services = [
        msgspec.structs.replace(service, characteristics=[change(one) for one in service.characteristics])
        for service in device.services
    ]
    return msgspec.structs.replace(device, services=services)


def _is_settled(pattern: Pattern) -> bool:
    """Whether it begins anew with each value: noise is drawn without a memory."""
    if isinstance(pattern, Fields):
        return all(map(_is_settled, pattern.fields.values()))
    return isinstance(pattern, (Constant, Noise))


def _doings(part: Any) -> Iterator[DoingSpec]:
    """All that the device does at anything, wherever it is in its file."""
    if isinstance(part, DoingSpec):
        yield part
    if isinstance(part, msgspec.Struct):
        part = [getattr(part, name) for name in part.__struct_fields__]
    for each in part.values() if isinstance(part, Mapping) else part if isinstance(part, (list, tuple)) else ():
        yield from _doings(each)
