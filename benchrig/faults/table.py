"""What a table of attributes lacks, and what it has too much."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from msgspec.structs import replace

from benchrig.faults import parts, references
from benchrig.faults.extras import EXTRA_SERVICES, extra_characteristic
from benchrig.faults.fault import Fault, Scene, Weight, after
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, added, dropped, replaced
from benchrig.faults.parts import At
from benchrig.faults.uuids import wrong_uuids
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.gatt_spec import UPDATES, CharacteristicSpec, Property
from benchrig.radio.virtual.reaction_spec import WriteSpec
from benchrig.values.text import TextFormat

# What a property lets somebody do, and what depends on it and goes with it.
_DOES: dict[Property, str] = {
    "read": "read",
    "write": "written",
    "write without response": "written without an answer",
    "notify": "subscribed to",
    "indicate": "subscribed to with confirmations",
}
_KEYS: dict[str, dict[str, Any]] = {
    "read": {"read_needs": None},
    "write": {"write_needs": None},
    "write without response": {"write_needs": None},
    "notify": {"notify": None, "subscribe_needs": None},
    "indicate": {"notify": None, "subscribe_needs": None},
}
_ALIKE = ({"write", "write without response"}, {"notify", "indicate"})


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    device = scene.unit
    yield from _missing(device)
    for at in parts.characteristics(device):
        yield from _lost_properties(at)
        yield from _extra_properties(at)
        yield from _subscribing(at)
    yield from _doubled(device)
    for at in [*parts.services(device), *parts.characteristics(device)]:
        yield from _wrong_uuid(at)
    if device.advertising.connectable:
        yield from _extra(device)
        yield from _moved(device)


def _missing(device: DeviceSpec) -> Iterator[Fault]:
    for at in parts.services(device):
        yield at.fault("table", "missing", f"The {at.called} is missing with all that is in it.", dropped)
    for at in parts.characteristics(device):
        fault = at.fault("table", "missing", f"The {at.called} is missing.", dropped)
        yield after(references.without(at.called), fault)
    for at in parts.descriptors(device):
        yield at.fault("table", "missing", f"The descriptor {at.called} is missing.", dropped, "minor")


def _lost_properties(at: At) -> Iterator[Fault]:
    for lost in dict.fromkeys(at.spec.properties):
        if lost in _DOES:
            left = [one for one in at.spec.properties if one != lost]
            says = f"The {at.called} cannot be {_DOES[lost]}."
            fault = at.fault("table", f"no {lost}", says, replaced(properties=left, **_without(lost, left)))
            silent = lost in ("notify", "indicate")
            yield after(references.without(at.called, only_sending=True), fault) if silent else fault


def _without(lost: str, left: list[str]) -> dict[str, Any]:
    """What goes with a property, as long as no other one serves the same."""
    return {} if any(lost in alike and set(left) & alike for alike in _ALIKE) else _KEYS[lost]


def _extra_properties(at: At) -> Iterator[Fault]:
    present = set(at.spec.properties)
    for extra, weight in _tempting(present, is_text=isinstance(at.spec.format, TextFormat)):
        change = replaced(properties=[*at.spec.properties, extra])
        says = f"The {at.called} can be {_DOES[extra]}, which nobody promised."
        yield at.fault("table", f"extra {extra}", says, change, weight)


def _tempting(present: set[str], *, is_text: bool) -> Iterator[tuple[Property, Weight]]:
    """To write what was only read, or to read what was only written, is for strangers."""
    if not present & {"write", "write without response"}:
        yield "write", "grave"
    elif "write without response" not in present:
        yield "write without response", "minor"
    if "read" not in present:
        yield "read", "minor" if present & {"notify", "indicate"} else "grave"
    if not present & {"notify", "indicate"} and not is_text:
        yield "notify", "minor"


def _subscribing(at: At) -> Iterator[Fault]:
    spec = at.spec
    if not spec.property_bits & UPDATES:
        return
    if spec.cccd:
        says = f"Nobody can subscribe to the {at.called}: the descriptor for it is missing."
        yield at.fault("table", "no subscribing", says, replaced(cccd=False, subscribe_needs=None))
    for one, other in (("notify", "indicate"), ("indicate", "notify")):
        if one in spec.properties and other not in spec.properties:
            exchanged = [other if each == one else each for each in spec.properties]
            says = f"The {at.called} is sent with {other} instead of {one}."
            yield at.fault("table", f"{other} instead of {one}", says, replaced(properties=exchanged), "minor")


def _doubled(device: DeviceSpec) -> Iterator[Fault]:
    """Registered twice: a whole service, or the first characteristic in it."""
    for at in parts.services(device):
        again = replace(at.spec, characteristics=[_second(one) for one in at.spec.characteristics])
        says = f"The {at.called} appears twice."
        yield At("", at.called, device).fault("table", "duplicate", says, added(again), "minor")
        for one in at.spec.characteristics[:1]:
            called = parts.characteristic_called(one)
            says = f"The {called} appears twice."
            yield At(at.path, called, at.spec).fault("table", "duplicate", says, added(_second(one)), "minor")


def _second(one: CharacteristicSpec) -> CharacteristicSpec:
    return replace(one, name=f"second {parts.characteristic_called(one)}", on_write=WriteSpec())


def _wrong_uuid(at: At) -> Iterator[Fault]:
    for kind, says, change in wrong_uuids(at.spec):
        yield at.fault("table", f"UUID {kind}", f"The {at.called} has a wrong UUID: {says}.", change)


def _extra(device: DeviceSpec) -> Iterator[Fault]:
    whole = At("", "table", device)
    for called, says, weight, service in EXTRA_SERVICES:
        yield whole.fault("table", f"extra {called}", says, added(service), weight)
    for at in parts.services(device):
        says = f"The {at.called} has a characteristic more, which can be read and written."
        yield at.fault("table", "extra characteristic", says, added(extra_characteristic(at.spec)), "grave")
    if device.generic_access:
        says = "The generic access service, which every device has, is missing."
        yield whole.fault("table", "no generic access", says, replaced(generic_access=False), "minor")


def _moved(device: DeviceSpec) -> Iterator[Fault]:
    """Handles that are others than before: who keeps them from another unit or from before an update is wrong."""
    whole = At("", "table", device)
    if device.services:
        first = EXTRA_SERVICES[0][-1]
        empty = replace(first, characteristics=[])
        says = "All handles have moved: an empty service comes before the others."
        yield whole.fault("table", "handles moved", says, _before(empty), "minor")
    if len(device.services) > 1:
        says = "The services are in another order, with other handles."
        yield whole.fault("table", "services in another order", says, _exchanged("services"), "minor")
    for at in parts.services(device):
        says = f"The characteristics of the {at.called} are in another order, with other handles."
        yield at.fault("table", "another order", says, _exchanged("characteristics"), "minor")


def _before(service: Any) -> Change:
    return lambda device: replace(device, services=[service, *device.services])


def _exchanged(field: str) -> Change:
    """The first two."""

    def change(part: Any) -> Any:
        first, *rest = getattr(part, field) or [None]
        return replace(part, **{field: [rest[0], first, *rest[1:]]}) if rest else part

    return change
