"""Devices with a fault, by the names that `benchrig escapes` has for it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from benchrig.errors import UsageError
from benchrig.escapes.planned import limits_of
from benchrig.faults import registry
from benchrig.faults.fault import Fault, Scene
from benchrig.plan.model import Plan
from benchrig.radio.virtual.device_spec import DeviceSpec, Simulated
from benchrig.testing.sources import DeviceSource, load_devices


def faults_of(
    *devices: DeviceSource, plan: Plan | None = None, families: Sequence[str] = (), folder: Path | None = None
) -> list[Fault]:
    """All faults of the first device that can be connected to, in the order of `benchrig escapes --list`: each has
    `name`, `says`, `family`, `weight` and the `causes` that a run may name for it. With a plan also those that its limits
    tell. UsageError for a family that there is none of."""
    if unknown := [family for family in families if family not in registry.FAMILIES]:
        raise UsageError(f"unknown family of faults '{unknown[0]}'", advice=_families())
    scene = scene_of(load_devices(devices, folder=folder))
    return registry.faults_of(scene, families=families, limits=limits_of(plan, scene.unit) if plan else {})


def fault_named(name: str, *devices: DeviceSource, plan: Plan | None = None, folder: Path | None = None) -> Fault:
    """The fault of this name; two names with ' + ' between them are both at once. UsageError with the nearest names."""
    return named(name, scene_of(load_devices(devices, folder=folder)), plan)


def named(name: str, scene: Scene, plan: Plan | None) -> Fault:
    return registry.fault_named(scene, name, limits=limits_of(plan, scene.unit) if plan else {})


def scene_of(devices: Sequence[Simulated], air: str | None = None) -> Scene:
    """UsageError where no device can be connected to: none can be broken."""
    if not any(isinstance(each, DeviceSpec) for each in devices):
        raise UsageError("expected a device that can be connected to, found none", advice="name the unit first")
    return Scene(tuple(devices), air)


def _families() -> str:
    return f"write one of: {', '.join(registry.FAMILIES)}"
