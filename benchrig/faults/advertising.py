"""What a device tells of itself on the air, and when."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.faults.fault import Fault, Scene
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import replaced, within
from benchrig.faults.parts import At
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.values.quantity import Duration


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    yield from _intervals(scene.unit)


def _intervals(device: DeviceSpec) -> Iterator[Fault]:
    at = At("", "advertising", device)
    for kind, factor in (("doubled", 2.0), ("halved", 0.5), ("five times", 5.0)):
        interval = Duration.of(device.advertising.interval.seconds * factor)
        says = f"It advertises at {interval} and not at {device.advertising.interval}."
        yield at.fault("advertising", f"interval {kind}", says, within("advertising", replaced(interval=interval)))
