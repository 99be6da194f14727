"""One good unit and the scene that it is tested in: its own air, its own seed, a host that is not always quick."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from benchrig.faults.bench import late_host
from benchrig.faults.fault import Scene
from benchrig.radio.virtual.device_file import air_of
from benchrig.radio.virtual.device_spec import DeviceSpec, Simulated
from benchrig.radio.virtual.spread import Unit, unit_of

# The air of a bench in an office, where no file and no option says another one.
USUAL_AIR = "rough"
# How late a host hears of its controller: 1 ms on the mean, and now and then it has something else to do (practice).
_MEAN, _SELDOM, _BUSY = 0.001, 0.005, 0.015
MOST_UNITS = 1_000_000


@dataclass(frozen=True)
class Units:
    """All units of a device, by number."""

    devices: Sequence[Simulated]
    air: str | None
    seed: int = 0

    @property
    def device(self) -> DeviceSpec:
        return next(each for each in self.devices if isinstance(each, DeviceSpec))

    @property
    def air_name(self) -> str:
        """In which air they are tested."""
        own = air_of(self.devices)
        if self.air is not None or own is None:
            return self.air or USUAL_AIR
        return own.conditions.name if own.conditions else "kind"

    def unit(self, number: int) -> Unit:
        return unit_of(self.device, number, self.seed)

    def run_seed(self, number: int) -> int:
        """Of everything random in the run of this unit."""
        return self.seed * MOST_UNITS + number

    def scene(self, unit: Unit) -> Scene:
        rng = random.Random(f"host {self.run_seed(unit.number)}")
        befalls = (late_host(lambda: _lateness(rng)),)
        devices = tuple(unit.device if each is self.device else each for each in self.devices)
        return Scene(devices, self.air or (None if air_of(self.devices) else USUAL_AIR), befalls=befalls)


def _lateness(rng: random.Random) -> float:
    usual = rng.expovariate(1 / _MEAN)
    return usual + rng.uniform(0.0, _BUSY) if rng.random() < _SELDOM else usual
