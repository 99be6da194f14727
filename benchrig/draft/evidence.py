"""What was seen of devices that are known to be good, as plain data: nothing is judged here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TypeVar

from benchrig.desk.inspection import AdvertisingSeen, CharacteristicSeen, DescriptorSeen, ServiceSeen
from benchrig.propose.tolerance import Group
from benchrig.radio.scan import Ear
from benchrig.values.catalogue import long_uuid

# Services that the operating systems keep for themselves: a plan must run on every radio.
HIDDEN = (long_uuid(0x1800), long_uuid(0x1801))

T = TypeVar("T", ServiceSeen, CharacteristicSeen, DescriptorSeen)


@dataclass(frozen=True)
class Spot:
    """Where an attribute stands in a table, the same on every unit: UUIDs as 128-bit text, and which of several with
    that UUID, counted from 0. `descriptor` is '' for a characteristic."""

    service: str
    service_number: int
    characteristic: str
    number: int
    descriptor: str = ""
    descriptor_number: int = 0

    @property
    def uuid(self) -> str:
        return self.descriptor or self.characteristic

    @property
    def around(self) -> Spot:
        """The characteristic that a descriptor belongs to."""
        return Spot(self.service, self.service_number, self.characteristic, self.number)


@dataclass
class Snapshot:
    """Everything that could be read of one unit at one time. `visit` numbers its connections; what it advertised, and
    how it was connected (seconds, attempts, and bytes that a packet carries), are there once a visit."""

    unit: str
    visit: int
    services: list[ServiceSeen]
    advertising: AdvertisingSeen | None = None
    connect: float | None = None
    attempts: int | None = None
    payload: int | None = None
    address_type: str = ""


@dataclass
class StreamSeen:
    """What a characteristic sent in one subscription of `seconds`. `rate` per second between the first and the last,
    None for fewer than two; `gaps` are the times between, `gap_p95` their 95th percentile; `values` the first ones, in
    their order. `fields` stand in place of values where a record keeps no more: groups of numbers by the name of their
    reading, with the unit."""

    unit: str
    seconds: float
    count: int
    rate: float | None
    gaps: Group | None
    values: list[bytes] = field(default_factory=list)
    fields: dict[str, tuple[Group, str]] = field(default_factory=dict)
    gap_p95: float | None = None


@dataclass
class Heard:
    """A listening and the attribute it belongs to: by its place, or by the name that a record has for it."""

    spot: Spot | str
    listening: StreamSeen


@dataclass
class ReadByName:
    """A value that a record of a run holds: the attribute as the plan of that run called it, bytes or a refusal."""

    unit: str
    name: str
    raw: bytes | None
    refused: str = ""


@dataclass(frozen=True)
class KnownUnit:
    """A unit, with the name that it advertises ('' for none) and its address."""

    unit: str
    name: str
    address: str


@dataclass
class Evidence:
    """All that a draft is made from. `silent` says of spots why there is no stream, `left_out` why nothing was asked of
    them; `sources` in words, and `doubts` on how whole they are; `air` is everything that was heard meanwhile, nothing
    where the evidence comes from files. `lacks` are the readings, 'step.reading', that the radio does not have."""

    met: list[KnownUnit] = field(default_factory=list)
    looks: list[Snapshot] = field(default_factory=list)
    heard: list[Heard] = field(default_factory=list)
    reads: list[ReadByName] = field(default_factory=list)
    silent: dict[Spot, str] = field(default_factory=dict)
    left_out: dict[Spot, str] = field(default_factory=dict)
    doubts: list[str] = field(default_factory=list)
    lacks: frozenset[str] = frozenset()
    sources: list[str] = field(default_factory=list)
    simulated: bool = False
    air: Ear = field(default_factory=Ear)

    @property
    def units(self) -> list[str]:
        """The units, in the order they were seen."""
        return list(dict.fromkeys(met.unit for met in self.met))


def spots(services: list[ServiceSeen]) -> Iterator[tuple[Spot, CharacteristicSeen, DescriptorSeen | None]]:
    """Every characteristic, then its descriptors, with its place; None beside a characteristic itself."""
    for service_number, service in _numbered(services):
        for number, characteristic in _numbered(service.characteristics):
            spot = Spot(service.uuid, service_number, characteristic.uuid, number)
            yield spot, characteristic, None
            for place, descriptor in _numbered(characteristic.descriptors):
                yield Spot(*_of(spot), descriptor.uuid, place), characteristic, descriptor


def _of(spot: Spot) -> tuple[str, int, str, int]:
    return spot.service, spot.service_number, spot.characteristic, spot.number


def _numbered(items: list[T]) -> Iterator[tuple[int, T]]:
    seen: dict[str, int] = {}
    for item in items:
        seen[item.uuid] = seen.get(item.uuid, -1) + 1
        yield seen[item.uuid], item
