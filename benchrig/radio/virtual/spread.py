"""One of many good units: the device file with what its `spread` says drawn for this unit.

A unit follows from its number and the seed alone: each of its properties has a source of chance of its own.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from msgspec.structs import replace

from benchrig.radio.virtual.advertising_spec import LONGEST, SHORTEST, AdvertisingSpec
from benchrig.radio.virtual.behaviour import Behaviour
from benchrig.radio.virtual.behaviours import Delay, in_order
from benchrig.radio.virtual.block import Block
from benchrig.radio.virtual.device_spec import DeviceSpec, RssiSpec
from benchrig.radio.virtual.gatt_spec import ServiceSpec
from benchrig.radio.virtual.spread_spec import SpreadSpec, ValueSpreadSpec
from benchrig.radio.virtual.spread_values import with_value
from benchrig.source.shape import Misfit
from benchrig.values.quantity import Duration, Level

# Levels that a report can tell (Core Vol 4 Part E 7.7.65.2).
_WEAKEST, _STRONGEST = -127.0, 20.0
_DECIMALS = 9  # of a time in seconds


@dataclass(frozen=True)
class Unit:
    """A good unit. `labels` is what is printed on it, by the names under which plans ask for it."""

    number: int
    device: DeviceSpec
    labels: dict[str, str]


def unit_of(device: DeviceSpec, number: int, seed: int = 0) -> Unit:
    """The unit of this number; its device has no spread any more."""
    spread = device.spread or SpreadSpec()

    def chance(what: str) -> random.Random:
        return random.Random(f"unit {seed} {number} {what}")

    made = replace(device, spread=None)
    made = _timed(made, spread, chance)
    made = _slowed(made, spread, chance)
    if spread.level is not None:
        made = replace(made, rssi=_level(made.rssi, chance("level").gauss(0.0, float(spread.level.number))))
    if spread.name is not None:
        made = replace(made, advertising=_named(made.advertising, spread.name.of(number)))
    labels = {spread.name.label: spread.name.of(number)} if spread.name and spread.name.label else {}
    for entry in spread.values:
        draw = _draw(entry, number, chance("value " + " ".join(entry.of)))
        made = _valued(made, entry, draw)
        if entry.label:
            labels[entry.label] = _label(made.services, entry)
    return Unit(number, made, labels)


def _draw(entry: ValueSpreadSpec, number: int, rng: random.Random) -> float:
    if entry.text is not None:
        return float(number)
    return rng.gauss(0.0, 1.0) if entry.sd is not None else rng.random()


def _valued(device: DeviceSpec, entry: ValueSpreadSpec, draw: float) -> DeviceSpec:
    """In all tables that it ever serves."""
    device = replace(device, services=with_value(device.services, entry, draw))
    if not device.services_after_reboot:
        return device
    try:
        return replace(device, services_after_reboot=with_value(device.services_after_reboot, entry, draw))
    except Misfit:  # the other firmware does not have it
        return device


def _label(services: list[ServiceSpec], entry: ValueSpreadSpec) -> str:
    called = entry.of[0]
    return str(next(one.value for each in services for one in each.characteristics if one.called == called))


def _timed(device: DeviceSpec, spread: SpreadSpec, chance: Callable[[str], random.Random]) -> DeviceSpec:
    clock = _within(spread, "clock", chance)
    interval = device.advertising.interval
    ours = _times(interval, (1.0 + clock) * (1.0 + _within(spread, "advertising", chance)))
    advertising = replace(device.advertising, interval=_kept_between(ours, SHORTEST, LONGEST))
    factor = (1.0 + clock) * (1.0 + _within(spread, "notifying", chance))
    return replace(
        device,
        advertising=advertising,
        services=[_notifying(each, factor) for each in device.services],
        services_after_reboot=[_notifying(each, factor) for each in device.services_after_reboot],
    )


def _within(spread: SpreadSpec, key: str, chance: Callable[[str], random.Random]) -> float:
    share = getattr(spread, key)
    return chance(key).uniform(-share.part, share.part) if share is not None else 0.0


def _times(duration: Duration, factor: float) -> Duration:
    return duration if factor == 1.0 else Duration.of(round(duration.seconds * factor, _DECIMALS))


def _kept_between(duration: Duration, least: float, most: float) -> Duration:
    return duration if least <= duration.seconds <= most else Duration.of(min(max(duration.seconds, least), most))


def _notifying(service: ServiceSpec, factor: float) -> ServiceSpec:
    if factor == 1.0 or not any(one.notify for one in service.characteristics):
        return service
    made = [
        replace(one, notify=replace(one.notify, period=_times(one.notify.period, factor))) if one.notify else one
        for one in service.characteristics
    ]
    return replace(service, characteristics=made)


def _slowed(device: DeviceSpec, spread: SpreadSpec, chance: Callable[[str], random.Random]) -> DeviceSpec:
    for key, block in (("answers", "on_request"), ("connecting", "faults")):
        longest: Duration | None = getattr(spread, key)
        if longest is not None:
            delay = Delay(delay=Duration.of(round(chance(key).uniform(0.0, longest.seconds), _DECIMALS)))
            device = replace(device, **{block: _behaving(getattr(device, block), delay)})
    return device


def _behaving(block: Block, *behaviours: Behaviour) -> Any:
    return replace(block, behaviours=in_order((*behaviours, *block.behaviours)))


def _level(rssi: RssiSpec, shift: float) -> RssiSpec:
    return replace(rssi, mean=Level(round(min(max(rssi.dbm + shift, _WEAKEST), _STRONGEST), 1), "dBm"))


def _named(advertising: AdvertisingSpec, name: str) -> AdvertisingSpec:
    """Under another name wherever it tells one."""
    blocks: dict[str, Any] = {}
    for key in ("data", "scan_response"):
        block = getattr(advertising, key)
        if block is not None:
            told = [word for word in ("name", "short_name") if getattr(block, word) is not None]
            blocks[key] = replace(block, **dict.fromkeys(told, name))
    return replace(advertising, **blocks)
