"""Descriptors that say something else, and what every device says of itself in its table."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from msgspec.structs import replace

from benchrig.faults import parts
from benchrig.faults.fault import Fault, Scene, Weight
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import replaced
from benchrig.faults.parts import At
from benchrig.faults.texts import varied
from benchrig.radio.virtual.device_spec import APPEARANCE, DEVICE_NAME, GENERIC_ACCESS, DeviceSpec
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, ServiceSpec
from benchrig.radio.virtual.words import Hex
from benchrig.source.shape import Misfit
from benchrig.values.catalogue import uuid_of

_DESCRIPTION = uuid_of("user description", "descriptor")
_FORMAT = uuid_of("characteristic presentation format", "descriptor")


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    for at in parts.descriptors(scene.unit):
        yield from _wrong(at)
    if scene.unit.advertising.connectable:
        yield from _generic_access(scene.unit)


def _wrong(at: At) -> Iterator[Fault]:
    octets, uuid = _octets(at), str(at.spec.descriptor)
    for kind, says, other in _others(octets, uuid):
        change = replaced(value=None, raw=Hex(other))
        yield at.fault("table", kind, f"The descriptor {at.called} {says}.", change, "minor")
    if not at.spec.writable:
        says = f"The descriptor {at.called} can be written, which nobody promised."
        yield at.fault("table", "extra write", says, replaced(writable=True), "serious")


def _octets(at: At) -> bytes:
    try:
        octets: bytes = at.spec.octets(at.within[-1].format)
    except Misfit:
        octets = b""
    return octets


def _others(octets: bytes, uuid: str) -> Iterator[tuple[str, str, bytes]]:
    if octets:
        yield "empty", "is empty", b""
    if uuid == _DESCRIPTION:
        yield "another text", "says something else", varied(octets.decode("utf-8", "replace")).encode()
        return
    if uuid == _FORMAT and len(octets) == 7:  # Core Vol 3 Part G 3.3.3.5: format, exponent, unit, …
        yield "another exponent", "has another exponent", octets[:1] + bytes([(octets[1] + 1) % 256]) + octets[2:]
        yield "another unit", "names another unit", octets[:2] + bytes([octets[2] ^ 1]) + octets[3:]
        return
    if octets:
        yield "a wrong bit", "has one wrong bit", bytes([octets[0] ^ 1]) + octets[1:]
        yield "a byte short", "lacks its last byte", octets[:-1]


def _generic_access(device: DeviceSpec) -> Iterator[Fault]:
    service = next((one for one in device.table if one.service == GENERIC_ACCESS), None)
    for one in service.characteristics if service else ():
        for kind, says, changed, weight in _wrongly_named(one):
            at = At("", "generic access", device)
            yield at.fault("table", kind, says, _with_service(_changed(service, one, changed)), weight)


def _wrongly_named(one: CharacteristicSpec) -> Iterator[tuple[str, str, CharacteristicSpec, Weight]]:
    octets = bytes(one.source.pattern.examples()[0]) if one.raw is not None else b""
    if one.characteristic == DEVICE_NAME and octets:
        other = varied(octets.decode("utf-8", "replace"))
        yield "another name", f"The device name in its table is '{other}'.", _of(one, other.encode()), "serious"
        yield "no name", "The device name in its table is empty.", _of(one, b""), "serious"
        open_to_all = replace(one, properties=[*one.properties, "write"])
        yield "name can be written", "Everybody can write the device name in its table.", open_to_all, "grave"
    if one.characteristic == APPEARANCE and octets:
        other_look = bytes([octets[0] ^ 1]) + octets[1:]
        yield "another appearance", "The appearance in its table is another one.", _of(one, other_look), "minor"


def _of(one: CharacteristicSpec, octets: bytes) -> CharacteristicSpec:
    return replace(one, value=None, raw=Hex(octets))


def _changed(service: ServiceSpec | None, one: CharacteristicSpec, other: CharacteristicSpec) -> ServiceSpec:
    assert service is not None
    return replace(service, characteristics=[other if each is one else each for each in service.characteristics])


def _with_service(service: ServiceSpec) -> Any:
    """In its place; where the file has none, before the others, as it is added to every device."""

    def change(device: DeviceSpec) -> DeviceSpec:
        mended = [service if one.service == GENERIC_ACCESS else one for one in device.services]
        return replace(device, services=mended if service in mended else [service, *device.services])

    return change
