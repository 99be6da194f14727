"""Simulated units, put on the air one at a time, as a person puts them on the bench.

The device files of a virtual radio may hold the units of a study one by one, or one device with a `spread`: then a unit is
drawn whose serial number is the one that is asked for. All else in the files stays on the air.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from benchrig.gauge.design import Design
from benchrig.radio.proof import SERIAL_NUMBER
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.device_spec import DeviceSpec, Simulated
from benchrig.radio.virtual.spread import unit_of
from benchrig.radio.virtual.spread_spec import NUMBER
from benchrig.source.problem import Problems


def placed(choice: RadioChoice, unit: str, design: Design) -> RadioChoice:
    """The radio with this unit on its air, and no other one of the study. As it was, where the files do not know the
    unit: then the serial number that is read tells. PlanError for bad device files."""
    devices = _loaded(choice)
    found = next(_as_unit(devices, unit, design.seed), None)
    if found is None:
        return choice
    others = [each for each in devices if not _is_for_study(each, design)]
    return replace(choice, files=(), devices=(found, *others), called=str(choice))


def _loaded(choice: RadioChoice) -> list[Simulated]:
    problems = Problems()
    devices = load_devices(choice.files, problems, any_air=choice.air is not None)
    problems.raise_if_any()
    return [*choice.devices, *devices]


def _as_unit(devices: Sequence[Simulated], unit: str, seed: int) -> Iterator[DeviceSpec]:
    """Those that are it as they are written, then those that can be drawn so."""
    units = [each for each in devices if isinstance(each, DeviceSpec)]
    yield from (each for each in units if serial_of(each) == unit)
    for each in units:
        for number in _numbers(each, unit):
            drawn = unit_of(each, number, seed).device
            if serial_of(drawn) == unit:
                yield drawn


def _is_for_study(device: Simulated, design: Design) -> bool:
    if not isinstance(device, DeviceSpec):
        return False
    return serial_of(device) in design.units or next(_drawn_texts(device), None) is not None


def _numbers(device: DeviceSpec, unit: str) -> Iterator[int]:
    """The numbers of the units that may have this serial number."""
    for text in _drawn_texts(device):
        before, after = map(re.escape, text.split(NUMBER))
        if found := re.fullmatch(rf"{before}(\d+){after}", unit):
            yield int(found[1])


def _drawn_texts(device: DeviceSpec) -> Iterator[str]:
    """How its spread makes serial numbers."""
    for entry in device.spread.values if device.spread else ():
        if entry.text is not None and any(called == each for called in _called(device) for each in entry.of):
            yield entry.text


def _called(device: DeviceSpec) -> list[str]:
    """What its serial number goes by."""
    return [
        each.called
        for service in device.services
        for each in service.characteristics
        if each.characteristic == SERIAL_NUMBER
    ]


def serial_of(device: DeviceSpec) -> str:
    """The serial number that a device is written with; '' for none."""
    return next(
        (
            str(each.value)
            for service in device.services
            for each in service.characteristics
            if each.characteristic == SERIAL_NUMBER and each.value is not None
        ),
        "",
    )
