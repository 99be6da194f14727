"""Values that are right at first: at the first read alone, or until something else is written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import msgspec

from benchrig.errors import MalformedValue
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.leaves import NUMBERS, Leaf, leaves
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import behaving, within
from benchrig.faults.numbers import weight_of
from benchrig.faults.outside import distances
from benchrig.faults.parts import At, characteristics
from benchrig.faults.sources import said
from benchrig.faults.texts import varied
from benchrig.radio.virtual.behaviour import When
from benchrig.radio.virtual.behaviours import Raw
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.distortion_spec import DistortionSpec
from benchrig.radio.virtual.gatt_spec import WRITES
from benchrig.radio.virtual.words import Hex
from benchrig.values.numbers import BooleanFormat
from benchrig.values.spec import Exact
from benchrig.values.structs import StructFormat
from benchrig.values.text import TextFormat


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    for whole, fields in leaves(scene.unit, limits):
        if not _may_change(whole):
            continue
        other = _other(whole, fields)
        later = Raw(raw=Hex(other), when=When(from_=2))
        says = "is right when it is first read, and another one from then on."
        yield whole.fault("right only once", says, behaving("on_read", later), weight_of(whole))
        yield from _written(scene.unit, whole, other)


def _may_change(whole: Leaf) -> bool:
    """What is written in the factory alone does not; what moves is never the same one anyway."""
    is_label = isinstance(whole.form, TextFormat) and not whole.spec.property_bits & WRITES
    return "read" in whole.spec.properties and whole.stays and bool(whole.octets) and not is_label


def _other(whole: Leaf, fields: list[Leaf]) -> bytes:
    """Another value, which a limit of the plan refuses where it has one."""
    for leaf in fields:
        if (made := _another(leaf)) != leaf.octets:
            return DistortionSpec(field=leaf.field, octets=Hex(made)).apply(whole.octets, whole.form)
    return _another(whole)


def _another(leaf: Leaf) -> bytes:
    octets, form = leaf.octets, leaf.form
    if isinstance(form, NUMBERS):
        made = [DistortionSpec(plus=Exact(plus)).apply(octets, form) for _, _, plus in distances(leaf, form)]
        if made:
            return next((one for one in made if replace(leaf, octets=one).value is not None), made[0])
    if isinstance(form, TextFormat) and isinstance(leaf.value, str):
        return varied(leaf.value).encode()
    flipped = octets[:-1] + bytes([octets[-1] ^ 1]) if octets else octets
    return octets if isinstance(form, BooleanFormat) and len(octets) != 1 else flipped


def _written(device: DeviceSpec, whole: Leaf, other: bytes) -> Iterator[Fault]:
    """By a write to something else, which spoils it."""
    at = next((one for one in characteristics(device) if _takes(one) and one.path != whole.at.path), None)
    try:
        value = _said(whole, other)
    except MalformedValue:
        return
    if at is None or whole.at.called in at.spec.on_write.set:
        return
    change = within(
        "on_write", lambda on_write: msgspec.structs.replace(on_write, set={**on_write.set, whole.at.called: value})
    )
    name = f"spoiled by a write to {at.called}"
    says = f"{whole.it} becomes another one when the {at.called} is written."
    spoiler = At(at.path, whole.at.called, at.spec)
    yield spoiler.fault("value", name, says, change, weight_of(whole))


def _takes(at: At) -> bool:
    return "write" in at.spec.properties and at.spec.on_write.store and not at.spec.on_write.behaviours


def _said(whole: Leaf, octets: bytes) -> Any:
    """As a reaction sets it."""
    assert whole.form is not None
    decoded = whole.form.decode(octets)
    if not isinstance(decoded, dict):
        return said(decoded, whole.form)
    leaves = whole.form.leaves() if isinstance(whole.form, StructFormat) else {}
    return {name: said(one, leaves.get(name)) for name, one in decoded.items()}
