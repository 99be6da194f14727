"""Device files: simulated devices as strict YAML.

One device:

    device: vaccine logger
    address: 'C0:11:22:33:44:55'     default: a static random one made from the name
    address_type: random             any random kind (default), or static, resolvable, non resolvable, public
    advertising: {…}                 see advertising_spec
    rssi: {mean: -55 dBm, spread: 2 dB}   as the bench hears it; spread is a standard deviation
    mtu: 247                         23 to 517
    services: [{…}]                  see gatt_spec; generic access is added when it is not there
    generic_access: false            it is not added: a device that lacks it
    services_after_reboot: [{…}]     what it has instead once a `reboot` has happened: a firmware update
    faults:
      stop_advertising_after: 1 s    from the opening of the air, for good
      disconnect_after: 5 s          from each connection
      refuse_connections: 2          requests that it leaves unanswered
    air: rough                       how packets fare on it, see air_spec
    others:                          devices that only advertise
      - {count: 500, name: 'tag {number}', advertising: {interval: 1 s}, rssi: {mean: -80 dBm, spread: 6 dB}}

Several devices in one file: `devices: [{device: …}, …]`, and `air` and `others` beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, ClassVar, Literal, cast

import msgspec

from benchrig.radio.virtual.advertising_spec import AdvertisingSpec
from benchrig.radio.virtual.air_spec import AirChoice
from benchrig.radio.virtual.conditions import Conditions
from benchrig.radio.virtual.gatt_spec import ServiceSpec
from benchrig.radio.virtual.model import (
    PROPERTIES,
    CharacteristicModel,
    DeviceModel,
    Mishaps,
    ServiceModel,
)
from benchrig.radio.virtual.sources import octets
from benchrig.radio.virtual.table_spec import services_of, table_misfits
from benchrig.radio.virtual.words import AddressText
from benchrig.source.problem import Place, Problems
from benchrig.source.references import references
from benchrig.source.shape import BAD, Misfit, Reader, locate
from benchrig.source.yaml import Mapping, Node, read_file
from benchrig.values.catalogue import normal_uuid
from benchrig.values.quantity import Duration, Gain, Level

GENERIC_ACCESS, DEVICE_NAME, APPEARANCE = (normal_uuid(short) for short in ("1800", "2A00", "2A01"))
# Top two bits of each kind of random address (Core Vol 6 Part B 1.3.2).
_TOP_BITS = {"static": 0b11, "resolvable": 0b01, "non resolvable": 0b00}
MOST_OTHERS = 5000
LONGEST_NAME = 248  # Core Vol 3 Part C 12.1
NUMBER = "{number}"
LEAST = "write at least 'device:' with a name, or 'others:', for example: device: my unit"


class RssiSpec(msgspec.Struct, kw_only=True, frozen=True):
    example: ClassVar[str] = "for example: {mean: -50 dBm, spread: 2 dB}"

    mean: Level = Level.from_source("-50 dBm")
    spread: Gain = Gain.from_source("0 dB")

    def misfits(self) -> Iterable[Misfit]:
        if not -127 <= self.mean.number <= 20:
            yield Misfit(f"a signal strength is -127 to 20 dBm, found {self.mean}", path=("mean",))
        if self.spread.number < 0:
            yield Misfit("a spread is not negative", path=("spread",))


class FaultSpec(msgspec.Struct, kw_only=True, frozen=True):
    stop_advertising_after: Duration | None = None
    disconnect_after: Duration | None = None
    refuse_connections: int = 0

    def misfits(self) -> Iterable[Misfit]:
        if self.refuse_connections < 0:
            yield Misfit("a number of requests is not negative", path=("refuse_connections",))

    def mishaps(self) -> Mishaps:
        stop, disconnect = self.stop_advertising_after, self.disconnect_after
        return Mishaps(
            stop.seconds if stop else None, disconnect.seconds if disconnect else None, self.refuse_connections
        )


class OthersSpec(msgspec.Struct, kw_only=True, frozen=True):
    """Devices that only advertise, all alike but for their addresses and `{number}` in their names."""

    count: int = 1
    name: str = "other {number}"
    advertising: AdvertisingSpec = AdvertisingSpec(connectable=False)
    rssi: RssiSpec = RssiSpec()

    def misfits(self) -> Iterable[Misfit]:
        if not 1 <= self.count <= MOST_OTHERS:
            yield Misfit(f"1 to {MOST_OTHERS} devices, found {self.count}", path=("count",))

    def models(self, group: str) -> Iterable[DeviceModel]:
        """`group` tells groups with equal names apart: addresses are made from both."""
        for number in range(1, self.count + 1):
            name = self.name.replace(NUMBER, str(number))
            yield DeviceModel(
                name=name,
                address=AddressText.made_from(f"{group}/{number}/{name}"),
                advertising=self.advertising.model(name),
                rssi_mean=float(self.rssi.mean.number),
                rssi_spread=float(self.rssi.spread.number),
                only_advertises=True,
            )


class DeviceSpec(msgspec.Struct, kw_only=True, frozen=True):
    """One device that can be connected to."""

    device: str
    address: AddressText | None = None
    address_type: Literal["random", "static", "resolvable", "non resolvable", "public"] = "random"
    advertising: AdvertisingSpec = AdvertisingSpec()
    rssi: RssiSpec = RssiSpec()
    mtu: int = 247
    services: list[ServiceSpec] = []
    services_after_reboot: list[ServiceSpec] = []
    generic_access: bool = True
    faults: FaultSpec = FaultSpec()
    air: AirChoice | None = None
    others: list[OthersSpec] = []

    def misfits(self) -> Iterable[Misfit]:
        if not self.device.strip():
            yield Misfit("a device needs a name", path=("device",))
        if len(self.device.encode()) > LONGEST_NAME:
            yield Misfit(f"a device name has at most {LONGEST_NAME} bytes", path=("device",))
        if not 23 <= self.mtu <= 517:
            yield Misfit(f"an MTU is 23 to 517, found {self.mtu}", path=("mtu",))
        yield from self._address_misfits()
        yield from table_misfits(self.services, self.mtu)
        yield from table_misfits(self.services_after_reboot, self.mtu, "services_after_reboot")

    def _address_misfits(self) -> Iterable[Misfit]:
        if self.address is None:
            if self.address_type not in ("random", "static"):
                yield Misfit(f"a {self.address_type} address has to be given", path=("address_type",))
        elif self.address_type != "public":
            wanted = _TOP_BITS.get(self.address_type)
            found = self.address.top_bits
            if found not in _TOP_BITS.values() or wanted not in (None, found):
                kinds = {bits: kind for kind, bits in _TOP_BITS.items()}
                message = f"the top bits of this address are {found:02b}: {kinds.get(found, 'reserved')}"
                bits = ", ".join(f"{kind} {bits:02b}" for kind, bits in _TOP_BITS.items())
                yield Misfit(f"{message}, not {self.address_type}", f"top bits: {bits}", ("address",))

    def models(self) -> Iterable[DeviceModel]:
        yield DeviceModel(
            name=self.device,
            address=self.address or AddressText.made_from(self.device),
            address_type="public" if self.address_type == "public" else "random",
            advertising=self.advertising.model(self.device),
            rssi_mean=float(self.rssi.mean.number),
            rssi_spread=float(self.rssi.spread.number),
            mtu=self.mtu,
            services=self._served(self.services),
            services_after_reboot=self._served(self.services_after_reboot) if self.services_after_reboot else [],
            mishaps=self.faults.mishaps(),
            air=self.air,
        )
        yield from _others(self.others, self.device)

    def _served(self, specs: list[ServiceSpec]) -> list[ServiceModel]:
        services = services_of(specs)
        if not self.generic_access:
            return services
        return _with_generic_access(services, self.advertising.name or self.device, self.advertising.appearance or 0)


class AirSpec(msgspec.Struct, kw_only=True, frozen=True):
    """A file with several devices."""

    devices: list[DeviceSpec] = []
    air: AirChoice | None = None
    others: list[OthersSpec] = []

    def misfits(self) -> Iterable[Misfit]:
        for index, device in enumerate(self.devices):
            if device.air is not None:
                yield Misfit(
                    "one air is around all devices of a file", "put it beside 'devices'", ("devices", index, "air")
                )

    def models(self) -> Iterable[DeviceModel]:
        for device in self.devices:
            yield from (replace(model, air=self.air) for model in device.models())
        yield from (replace(model, air=self.air) for model in _others(self.others, ""))


def _others(specs: list[OthersSpec], group: str) -> Iterable[DeviceModel]:
    for index, spec in enumerate(specs):
        yield from spec.models(f"{group}/{index}")


def _with_generic_access(services: list[ServiceModel], name: str, appearance: int) -> list[ServiceModel]:
    """Every device has the service generic access (Core Vol 3 Part C 12), with the name and the appearance that it
    advertises (Core Specification Supplement, Part A 1.2 and 1.12)."""
    if any(service.uuid == GENERIC_ACCESS for service in services):
        return services
    fixed = [
        CharacteristicModel(DEVICE_NAME, "generic access/device name", PROPERTIES["read"], octets(name.encode())),
        CharacteristicModel(
            APPEARANCE, "generic access/appearance", PROPERTIES["read"], octets(appearance.to_bytes(2, "little"))
        ),
    ]
    return [ServiceModel(GENERIC_ACCESS, fixed), *services]


def load_devices(paths: Sequence[Path], problems: Problems, *, any_air: bool = False) -> list[DeviceModel]:
    """Read device files. What is wrong goes to `problems`, with its place; the models of sound files come back. With
    `any_air` they may ask for different ones: another is chosen."""
    models: list[DeviceModel] = []
    for path in paths:
        before = problems.mistakes
        node = read_file(path, problems, least=LEAST)
        problems.settle()
        made = models_of(node, problems, beside=models) if node is not None else []
        if node is not None and not any_air:
            _check_air(made, models, node, problems)
        models += made if problems.mistakes == before else []
    return models


def models_of(node: Node, problems: Problems, beside: Sequence[DeviceModel] = ()) -> list[DeviceModel]:
    """The models of one file that has been parsed; [] with the problems added. `beside` are those of other files."""
    before = problems.mistakes
    if isinstance(node, Mapping) and node.entries.keys() & {"plan", "steps"}:
        problems.add(node.place, "this is a plan, not a device file", "name the file of a simulated device")
        return []
    for name, scalar in references(node):
        problems.add(scalar.place, f"a device file has no references, found ${{{name}}}", "write the value")
    if problems.mistakes > before:
        return []  # what a value is for cannot be judged without it
    kind: Any = DeviceSpec if isinstance(node, Mapping) and "device" in node.entries else AirSpec
    if isinstance(node, Mapping) and not node.entries.keys() & {"device", "devices", "others"}:
        kind = DeviceSpec
    spec = Reader(problems).read(node, kind)
    if spec is BAD or problems.mistakes > before:
        return []
    models = list(cast("DeviceSpec | AirSpec", spec).models())
    _check_unique(models, beside, node, problems)
    return models if problems.mistakes == before else []


def _check_unique(models: list[DeviceModel], beside: Sequence[DeviceModel], node: Node, problems: Problems) -> None:
    """Two connectable devices of one name or one address could not be told apart."""
    taken = {word for model in beside if not model.only_advertises for word in (model.name, model.address)}
    for index, model in enumerate(model for model in models if not model.only_advertises):
        for key, value, what in (("device", model.name, "name"), ("address", model.address, "address")):
            if value in taken:
                problems.add(_place(node, index, key), f"a second device with the {what} '{value}'")
            taken.add(value)


def _check_air(models: list[DeviceModel], beside: Sequence[DeviceModel], node: Node, problems: Problems) -> None:
    """Devices of several files are in one air."""
    there, here = air_of(beside), air_of(models)
    if there and here and there.conditions != here.conditions:
        message = "another device file asks for another air"
        problems.add(locate(node, ("air",)).place, message, "leave it out in one of them, or choose one with --air")


def air_of(models: Iterable[DeviceModel]) -> AirChoice | None:
    """The air that these devices ask for; None when no file says."""
    return next((model.air for model in models if model.air), None)


def conditions_of(models: Iterable[DeviceModel], name: str | None = None) -> Conditions | None:
    """Of the air of this name, else of the one that the devices ask for; None for the kind one."""
    air = AirChoice.named(name) if name else air_of(models)
    return air.conditions if air else None


def _place(node: Node, index: int, key: str) -> Place:
    path = (key,) if isinstance(node, Mapping) and "device" in node.entries else ("devices", index, key)
    return locate(node, path).place
