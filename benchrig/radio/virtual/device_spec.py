"""Simulated devices as specifications: what a device file says, and what is brought to life.

A specification does not change: a changed device is another one (faults/mutation.py).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Literal, TypeAlias

import msgspec

from benchrig.radio.security import SHOWING
from benchrig.radio.virtual.advertising_spec import Advertisement, AdvertisingSpec
from benchrig.radio.virtual.air_spec import AirChoice
from benchrig.radio.virtual.behaviour import On, When, key_of
from benchrig.radio.virtual.behaviours import Reboot
from benchrig.radio.virtual.block import Block
from benchrig.radio.virtual.gatt_spec import CharacteristicSpec, ServiceSpec
from benchrig.radio.virtual.privacy_spec import PrivacySpec, identity_key
from benchrig.radio.virtual.reaction_spec import (
    ActionSpec,
    DisplaySpec,
    LineSpec,
    RequestSpec,
    UnaskedSpec,
    unreachable,
)
from benchrig.radio.virtual.reactions import Building
from benchrig.radio.virtual.security_spec import SecuritySpec
from benchrig.radio.virtual.spread_spec import SpreadSpec
from benchrig.radio.virtual.spread_values import spread_misfits
from benchrig.radio.virtual.table_spec import by_name, table_misfits
from benchrig.radio.virtual.weakness_spec import WeaknessSpec
from benchrig.radio.virtual.words import AddressText, CharacteristicUuid, Hex, ServiceUuid
from benchrig.source.file_names import FileNames
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.values.catalogue import normal_uuid
from benchrig.values.quantity import Gain, Level

GENERIC_ACCESS, DEVICE_NAME, APPEARANCE = (normal_uuid(short) for short in ("1800", "2A00", "2A01"))
# Top two bits of each kind of random address (Core Vol 6 Part B 1.3.2).
TOP_BITS = {"static": 0b11, "resolvable": 0b01, "non resolvable": 0b00}
MOST_OTHERS = 5000
LONGEST_NAME = 248  # Core Vol 3 Part C 12.1
NUMBER = "{number}"


class RssiSpec(msgspec.Struct, kw_only=True, frozen=True):
    example: ClassVar[str] = "for example: {mean: -50 dBm, spread: 2 dB}"

    mean: Level = Level.from_source("-50 dBm")
    spread: Gain = Gain.from_source("0 dB")

    def misfits(self) -> Iterable[Misfit]:
        if not -127 <= self.mean.number <= 20:
            yield Misfit(f"a signal strength is -127 to 20 dBm, found {self.mean}", path=("mean",))
        if self.spread.number < 0:
            yield Misfit("a spread is not negative", path=("spread",))

    @property
    def dbm(self) -> float:
        return float(self.mean.number)

    @property
    def db(self) -> float:
        """The standard deviation."""
        return float(self.spread.number)


class FaultSpec(Block, frozen=True, kw_only=True):
    """What is wrong with the device as a whole."""

    occasions = frozenset({On.START, On.ASKED, On.OPEN, On.CONNECT})


@dataclass(frozen=True)
class Beacon:
    """A device that only advertises."""

    name: str
    own_address: str
    advertised: Advertisement
    rssi: RssiSpec
    air: AirChoice | None = None
    own_address_type: ClassVar[str] = "random"
    table: ClassVar[list[ServiceSpec]] = []


class OthersSpec(msgspec.Struct, kw_only=True, frozen=True):
    """Devices that only advertise, all alike but for their addresses and `{number}` in their names."""

    count: int = 1
    name: str = "other {number}"
    advertising: AdvertisingSpec = AdvertisingSpec(connectable=False)
    rssi: RssiSpec = RssiSpec()

    def misfits(self) -> Iterable[Misfit]:
        if not 1 <= self.count <= MOST_OTHERS:
            yield Misfit(f"1 to {MOST_OTHERS} devices, found {self.count}", path=("count",))
        for key in self.advertising.of_bonds:
            yield Misfit("a device that only advertises has no bonds", f"take {key} out", ("advertising", key))
        if self.advertising.changes:
            yield Misfit("the data of others do not change", "write the unit as a device", ("advertising",))

    def beacons(self, group: str, air: AirChoice | None) -> Iterable[Beacon]:
        """`group` tells groups with equal names apart: addresses are made from both."""
        for number in range(1, self.count + 1):
            name = self.name.replace(NUMBER, str(number))
            address = AddressText.made_from(f"{group}/{number}/{name}")
            yield Beacon(name, address, self.advertising.advertised(name), self.rssi, air)


class DeviceSpec(msgspec.Struct, kw_only=True, frozen=True, dict=True):
    """One device that can be connected to. What follows from its keys is made once."""

    device: str
    address: AddressText | None = None
    address_type: Literal["random", "static", "resolvable", "non resolvable", "public"] = "random"
    advertising: AdvertisingSpec = AdvertisingSpec()
    privacy: PrivacySpec | None = None
    rssi: RssiSpec = RssiSpec()
    mtu: int = 247
    services: list[ServiceSpec] = []
    services_after_reboot: list[ServiceSpec] = []
    generic_access: bool = True
    on_start: list[ActionSpec] = []
    on_connect: list[ActionSpec] = []
    on_disconnect: list[ActionSpec] = []
    on_display: list[DisplaySpec] = []
    unasked: list[UnaskedSpec] = []
    on_request: RequestSpec = RequestSpec()
    security: SecuritySpec = SecuritySpec()
    console: list[LineSpec] = []
    faults: FaultSpec = FaultSpec()
    weaknesses: list[WeaknessSpec] = []
    air: AirChoice | None = None
    others: list[OthersSpec] = []
    spread: SpreadSpec | None = None
    use: FileNames | None = None

    def misfits(self) -> Iterable[Misfit]:
        if not self.device.strip():
            yield Misfit("a device needs a name", path=("device",))
        if len(self.device.encode()) > LONGEST_NAME:
            yield Misfit(f"a device name has at most {LONGEST_NAME} bytes", path=("device",))
        if not 23 <= self.mtu <= 517:
            yield Misfit(f"an MTU is 23 to 517, found {self.mtu}", path=("mtu",))
        yield from self._address_misfits()
        yield from self._display_misfits()
        yield from unreachable(self.console, "console")
        asks = self.security.asks
        yield from table_misfits(self.services, self.mtu, asks=asks)
        yield from table_misfits(self.services_after_reboot, self.mtu, "services_after_reboot", asks=asks)
        for table in filter(None, (self.services, self.services_after_reboot)):
            yield from self._action_misfits(table)
        yield from self._spread_misfits()

    def _spread_misfits(self) -> Iterable[Misfit]:
        if self.spread is None:
            return
        for misfit in spread_misfits(self.services, self.spread.values):
            yield Misfit(misfit.message, misfit.advice, ("spread", "values", *misfit.path))
        if self.spread.name is not None and not self.advertising.tells_name:
            yield Misfit("this device file advertises no name", "write one in advertising", ("spread", "name"))
        for key, block in (("answers", self.on_request), ("connecting", self.faults)):
            delays = any(key_of(type(one))[0] == "delay" and one.when == When() for one in block.behaviours)
            if getattr(self.spread, key) is not None and delays:
                yield Misfit("this device has a delay there already", "keep one of the two", ("spread", key))

    def _action_misfits(self, table: list[ServiceSpec]) -> Iterable[Misfit]:
        found: list[Misfit] = []
        building = Building(by_name(table), found, asks=self.security.asks)
        for name in ("on_start", "on_connect", "on_disconnect", "on_display", "unasked"):
            building.reactions(getattr(self, name), (name,))
        building.lines(self.console, ("console",))
        yield from found
        for index, one in enumerate(self.unasked):
            if (name := one.after.name) and name not in by_name(table):
                advice = suggest(name, by_name(table))
                yield Misfit(
                    f"this device has no characteristic '{name}'", advice, ("unasked", index, "after", one.after.kind)
                )
        for index, action in enumerate(self.on_start):
            if any(isinstance(one, Reboot) for one in action.behaviours):
                yield Misfit("a device that starts again whenever it has started", path=("on_start", index, "reboot"))

    def _display_misfits(self) -> Iterable[Misfit]:
        if self.on_display and self.security.capability not in SHOWING:
            message = f"a device of capability '{self.security.capability}' shows nothing"
            yield Misfit(message, f"write security: {{capability: {SHOWING[0]}}}", ("on_display",))

    def _address_misfits(self) -> Iterable[Misfit]:
        if (
            self.privacy
            and self.own_address_type == "random"
            and self.address
            and self.address.top_bits != TOP_BITS["static"]
        ):
            message = "the identity of a device is a public or a static address"  # Core Vol 6 Part B 1.3
            yield Misfit(message, "begin it with C0 to FF, or write address_type: public", ("address",))
            return
        if self.address is None:
            if self.address_type not in ("random", "static"):
                yield Misfit(f"a {self.address_type} address has to be given", path=("address_type",))
        elif self.address_type != "public":
            wanted = TOP_BITS.get(self.address_type)
            found = self.address.top_bits
            if found not in TOP_BITS.values() or wanted not in (None, found):
                kinds = {bits: kind for kind, bits in TOP_BITS.items()}
                message = f"the top bits of this address are {found:02b}: {kinds.get(found, 'reserved')}"
                bits = ", ".join(f"{kind} {bits:02b}" for kind, bits in TOP_BITS.items())
                yield Misfit(f"{message}, not {self.address_type}", f"top bits: {bits}", ("address",))

    @property
    def name(self) -> str:
        return self.device

    @cached_property
    def own_address(self) -> str:
        return self.address or AddressText.made_from(self.device)

    @cached_property
    def identity_key(self) -> bytes:
        """The most significant octet first."""
        return identity_key(self.device, self.privacy)

    @property
    def own_address_type(self) -> str:
        return "public" if self.address_type == "public" else "random"

    @cached_property
    def advertised(self) -> Advertisement:
        return self.advertising.advertised(self.device)

    @cached_property
    def table(self) -> list[ServiceSpec]:
        """What it serves."""
        return self._served(self.services)

    @cached_property
    def table_after_reboot(self) -> list[ServiceSpec]:
        """What it serves when it has started again; none: the table stays."""
        return self._served(self.services_after_reboot) if self.services_after_reboot else []

    def _served(self, services: list[ServiceSpec]) -> list[ServiceSpec]:
        """Every device has the service generic access (Core Vol 3 Part C 12), with the name and the appearance that it
        advertises (Core Specification Supplement, Part A 1.2 and 1.12)."""
        if not self.generic_access or any(one.service == GENERIC_ACCESS for one in services):
            return services
        name, appearance = self.advertising.name or self.device, self.advertising.appearance or 0
        return [_generic_access(name.encode(), appearance.to_bytes(2, "little")), *services]

    def units(self) -> Iterable[Simulated]:
        yield self
        yield from _beacons(self.others, self.device, None)


class AirSpec(msgspec.Struct, kw_only=True, frozen=True):
    """A file with several devices."""

    devices: list[DeviceSpec] = []
    air: AirChoice | None = None
    others: list[OthersSpec] = []
    use: FileNames | None = None

    def misfits(self) -> Iterable[Misfit]:
        for index, device in enumerate(self.devices):
            if device.air is not None:
                yield Misfit(
                    "one air is around all devices of a file", "put it beside 'devices'", ("devices", index, "air")
                )
            if device.use is not None:
                yield Misfit("names are for a whole file", "put it beside 'devices'", ("devices", index, "use"))

    def units(self) -> Iterable[Simulated]:
        for device in self.devices:
            yield msgspec.structs.replace(device, air=self.air)
            yield from _beacons(device.others, device.device, self.air)
        yield from _beacons(self.others, "", self.air)


def _beacons(specs: list[OthersSpec], group: str, air: AirChoice | None) -> Iterable[Beacon]:
    for index, spec in enumerate(specs):
        yield from spec.beacons(f"{group}/{index}", air)


def _generic_access(name: bytes, appearance: bytes) -> ServiceSpec:
    """A service with these values; its characteristics have names that no other one of a file has."""
    fixed = [
        CharacteristicSpec(
            characteristic=CharacteristicUuid.from_source(uuid),
            name=f"generic access/{called}",
            properties=["read"],
            raw=Hex(value),
        )
        for uuid, called, value in ((DEVICE_NAME, "device name", name), (APPEARANCE, "appearance", appearance))
    ]
    return ServiceSpec(service=ServiceUuid.from_source(GENERIC_ACCESS), characteristics=fixed)


Simulated: TypeAlias = DeviceSpec | Beacon
