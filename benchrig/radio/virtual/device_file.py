"""Device files: simulated devices as strict YAML.

One device:

    device: vaccine logger
    address: 'C0:11:22:33:44:55'     default: a static random one made from the name
    address_type: random             any random kind (default), or static, resolvable, non resolvable, public
    advertising: {…}                 see advertising_spec
    privacy: {every: 15 min}         its address changes, see privacy_spec
    rssi: {mean: -55 dBm, spread: 2 dB}   as the bench hears it; spread is a standard deviation
    mtu: 247                         23 to 517
    services: [{…}]                  see gatt_spec; generic access is added when it is not there
    use: names.yaml                  names that its characteristics may go by, see shared_names
    generic_access: false            it is not added: a device that lacks it
    unasked: [{…}]                   what it does at exact times after a certain request, see reaction_spec
    services_after_reboot: [{…}]     what it has instead once a `reboot` has happened: a firmware update
    faults: {disconnect_after: 5 s}  all that behaviours.py has for the device as a whole
    spread: {level: 2 dB}            how good units of this kind differ, see spread_spec
    air: rough                       how packets fare on it, see air_spec
    others:                          devices that only advertise
      - {count: 500, name: 'tag {number}', advertising: {interval: 1 s}, rssi: {mean: -80 dBm, spread: 6 dB}}

Several devices in one file: `devices: [{device: …}, …]`, and `air` and `others` beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, cast

from benchrig.radio.virtual.air_spec import AirChoice
from benchrig.radio.virtual.conditions import Conditions
from benchrig.radio.virtual.device_spec import AirSpec, DeviceSpec, Simulated
from benchrig.radio.virtual.shared_names import with_names
from benchrig.source.nodes import locate
from benchrig.source.problem import Place, Problems
from benchrig.source.references import expressions
from benchrig.source.shape import BAD, Reader
from benchrig.source.yaml import Mapping, Node, file_bytes, read_bytes

LEAST = "write at least 'device:' with a name, or 'others:', for example: device: my unit"


def load_devices(paths: Sequence[Path], problems: Problems, *, any_air: bool = False) -> list[Simulated]:
    """Read device files. What is wrong goes to `problems`, with its place; the devices of sound files come back. With
    `any_air` they may ask for different ones: another is chosen."""
    files = ((str(path), file_bytes(path, problems, str(path))) for path in paths)
    return read_devices(((name, data) for name, data in files if data is not None), problems, any_air=any_air)


def read_devices(
    files: Iterable[tuple[str, bytes]],
    problems: Problems,
    *,
    any_air: bool = False,
    beside: Iterable[Simulated] = (),
) -> list[Simulated]:
    """The same of files whose bytes are known, each with its name for messages; what comes back begins with the devices
    `beside` them."""
    devices = [*beside]
    for name, data in files:
        # what such a file says depends on others
        read = _read.__wrapped__ if b"use:" in data else _read
        node, units, found = read(name, data)
        before = problems.mistakes
        problems.add_all(found)
        if node is not None:
            _check_unique(units, devices, node, problems)
            if not any_air:
                _check_air(units, devices, node, problems)
        devices += units if problems.mistakes == before else []
    return devices


@lru_cache(maxsize=16)
def _read(name: str, data: bytes) -> tuple[Node | None, list[Simulated], Problems]:
    """What is in a file: the same bytes are read once in a process, for nothing of it changes."""
    problems = Problems()
    node = read_bytes(data, name, problems, LEAST)
    problems.settle()
    return node, [] if node is None else _units(node, problems), problems


def devices_of(node: Node, problems: Problems) -> list[Simulated]:
    """The devices of one file that has been parsed; [] with the problems added."""
    before = problems.mistakes
    units = _units(node, problems)
    _check_unique(units, [], node, problems)
    return units if problems.mistakes == before else []


def _units(node: Node, problems: Problems) -> list[Simulated]:
    before = problems.mistakes
    if isinstance(node, Mapping) and node.entries.keys() & {"plan", "steps"}:
        problems.add(node.place, "this is a plan, not a device file", "name the file of a simulated device")
        return []
    for name, scalar in expressions(node):
        problems.add(scalar.place, f"a device file has no references, found ${{{name}}}", "write the value")
    if problems.mistakes > before:
        return []  # what a value is for cannot be judged without it
    if isinstance(node, Mapping) and "use" in node.entries:
        node = _written_out(with_names(node, problems))
    if problems.mistakes > before:
        return []  # without the names nobody knows what its characteristics are
    kind: Any = DeviceSpec if isinstance(node, Mapping) and "device" in node.entries else AirSpec
    if isinstance(node, Mapping) and not node.entries.keys() & {"device", "devices", "others"}:
        kind = DeviceSpec
    spec = Reader(problems).read(node, kind)
    if spec is BAD or problems.mistakes > before:
        return []
    return list(cast("DeviceSpec | AirSpec", spec).units())


def _written_out(node: Mapping) -> Mapping:
    """Without the key whose names are in their places now."""
    return Mapping({key: part for key, part in node.entries.items() if key != "use"}, node.place)


def _check_unique(devices: Iterable[Simulated], beside: Iterable[Simulated], node: Node, problems: Problems) -> None:
    """Two connectable devices of one name or one address could not be told apart."""
    taken = {word for device in _connectable(beside) for word in (device.name, device.own_address)}
    for index, device in enumerate(_connectable(devices)):
        for key, value, what in (("device", device.name, "name"), ("address", device.own_address, "address")):
            if value in taken:
                problems.add(_place(node, index, key), f"a second device with the {what} '{value}'")
            taken.add(value)


def _connectable(devices: Iterable[Simulated]) -> Iterable[DeviceSpec]:
    return (device for device in devices if isinstance(device, DeviceSpec))


def _check_air(devices: Iterable[Simulated], beside: Iterable[Simulated], node: Node, problems: Problems) -> None:
    """Devices of several files are in one air."""
    there, here = air_of(beside), air_of(devices)
    if there and here and there.conditions != here.conditions:
        message = "another device file asks for another air"
        problems.add(locate(node, ("air",)).place, message, "leave it out in one of them, or choose one with --air")


def air_of(devices: Iterable[Simulated]) -> AirChoice | None:
    """The air that these devices ask for; None when no file says."""
    return next((device.air for device in devices if device.air), None)


def conditions_of(devices: Iterable[Simulated], name: str | None = None) -> Conditions | None:
    """Of the air of this name, else of the one that the devices ask for; None for the kind one."""
    air = AirChoice.named(name) if name else air_of(devices)
    return air.conditions if air else None


def _place(node: Node, index: int, key: str) -> Place:
    path = (key,) if isinstance(node, Mapping) and "device" in node.entries else ("devices", index, key)
    return locate(node, path).place
