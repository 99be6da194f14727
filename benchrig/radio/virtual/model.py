"""A simulated device as plain data: what `device_file` reads and `device` brings to life.

Times in seconds, levels in dBm, UUIDs as 128-bit lower-case text.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from benchrig.radio.virtual.air_spec import AirChoice
    from benchrig.radio.virtual.sources import Source
    from benchrig.values.base import Format

PROPERTIES = {
    "broadcast": 0x01,
    "read": 0x02,
    "write without response": 0x04,
    "write": 0x08,
    "notify": 0x10,
    "indicate": 0x20,
    "signed write": 0x40,
    "extended properties": 0x80,
}
LONGEST_VALUE = 512


@dataclass
class Reaction:
    """What a device does instead of, or before, its answer. `delay` comes first; then at most one of the others:
    `att_error` answers with that code, `silent` never answers, `disconnect` ends the link, `reboot` too and stays
    away for so many seconds."""

    delay: float = 0.0
    att_error: int | None = None
    silent: bool = False
    disconnect: bool = False
    reboot: float | None = None


@dataclass
class Effect:
    """A value that a write puts into a characteristic, and sends to its subscribers when `notify`. `source` None
    stands for the octets that were written."""

    characteristic: str
    source: Source | None
    notify: bool


@dataclass
class WriteBehaviour:
    """`store` keeps what was written as the value; `check` refuses octets that do not fit the format, with ATT error
    0x0D for a wrong length and 0xFF for a value out of range."""

    store: bool = True
    check: bool = True
    effects: list[Effect] = field(default_factory=list)
    reaction: Reaction = field(default_factory=Reaction)


@dataclass
class Notifying:
    """While a central is subscribed: a value every `period`, each up to `jitter` late, the first one period after
    the subscription; `count` values, or without end."""

    period: float
    jitter: float = 0.0
    count: int | None = None


@dataclass
class DescriptorModel:
    uuid: str
    value: bytes
    writable: bool = False


@dataclass
class CharacteristicModel:
    """`name` is what effects call it by. `encrypted` demands an encrypted link for reads and writes."""

    uuid: str
    name: str
    properties: int
    source: Source
    format: Format | None = None
    notifying: Notifying | None = None
    descriptors: list[DescriptorModel] = field(default_factory=list)
    on_read: Reaction = field(default_factory=Reaction)
    on_write: WriteBehaviour = field(default_factory=WriteBehaviour)
    encrypted: bool = False
    cccd: bool = True

    def fresh(self) -> CharacteristicModel:
        """For one air: counters and sequences move on as they are read, and the next air begins with them anew."""
        effects = [replace(effect, source=effect.source and effect.source.fresh()) for effect in self.on_write.effects]
        return replace(self, source=self.source.fresh(), on_write=replace(self.on_write, effects=effects))


@dataclass
class ServiceModel:
    uuid: str
    characteristics: list[CharacteristicModel] = field(default_factory=list)


@dataclass
class AdvertisingModel:
    """`data` and `scan_response` are payloads of at most 31 octets."""

    data: bytes = b""
    scan_response: bytes = b""
    interval: float = 0.1
    connectable: bool = True
    scannable: bool = True


@dataclass
class Mishaps:
    """What goes wrong with this device. `stop_advertising_after` counts from the opening of the air,
    `disconnect_after` from each connection; `refuse_connections` is how many requests it leaves unanswered."""

    stop_advertising_after: float | None = None
    disconnect_after: float | None = None
    refuse_connections: int = 0


@dataclass
class DeviceModel:
    """`services_after_reboot` takes the place of `services` when the device starts again; none: the table stays.
    A device that `only_advertises` takes no connections. `air` is the one that its file asks for, if it does."""

    name: str
    address: str
    address_type: Literal["random", "public"] = "random"
    advertising: AdvertisingModel = field(default_factory=AdvertisingModel)
    rssi_mean: float = -50.0
    rssi_spread: float = 0.0
    mtu: int = 247
    services: list[ServiceModel] = field(default_factory=list)
    services_after_reboot: list[ServiceModel] = field(default_factory=list)
    mishaps: Mishaps = field(default_factory=Mishaps)
    only_advertises: bool = False
    air: AirChoice | None = None
