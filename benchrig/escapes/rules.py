"""Escapes that no plan could catch: the broken device differs from the sound one in nothing that leaves it.

A rule takes what is hidden out of a device. Where both are the same after that, no request and no listening can tell them
apart. A rule is as narrow as its reason: an escape that is argued away wrongly is worse than one that is told too often.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import msgspec

from benchrig.faults.fault import Scene
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import PROPERTIES, UPDATES, CharacteristicSpec

_READ = PROPERTIES["read"]


def equivalent(broken: Scene, sound: Scene) -> str:
    """Why the two behave alike; '' where no rule says so. But for the unit the two scenes have to be the same."""
    if (
        replace(broken, devices=()) != replace(sound, devices=())
        or broken.with_unit(sound.unit).devices != sound.devices
    ):
        return ""
    return next((why for why, rule in RULES if _without(broken.unit, rule) == _without(sound.unit, rule)), "")


def sends_no_value(one: CharacteristicSpec) -> CharacteristicSpec:
    """`distorted` changes values on their way out. Without read, notify and indicate, hidden ones too, there is no way:
    a read is refused by the properties, before there is a value."""
    return one if one.property_bits & (_READ | UPDATES) else msgspec.structs.replace(one, distorted=None)


RULES: tuple[tuple[str, Callable[[CharacteristicSpec], CharacteristicSpec]], ...] = (
    ("the value never leaves the device: it can be neither read nor subscribed to", sends_no_value),
)


def _without(device: DeviceSpec, rule: Callable[[CharacteristicSpec], CharacteristicSpec]) -> DeviceSpec:
    """The device without what the rule hides."""
    services = [
        msgspec.structs.replace(service, characteristics=[rule(one) for one in service.characteristics])
        for service in device.services
    ]
    return msgspec.structs.replace(device, services=services)
