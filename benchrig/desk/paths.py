"""Where an attribute stands, in words that stay the same when handles move.

'battery/battery level', 'environmental sensing/temperature[1]/valid range': these are names that the other commands and
plans take too. An index stands where a part alone would mean several.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from benchrig.desk.inspection import CharacteristicSeen, DescriptorSeen, Inspection, ServiceSeen

AttributeSeen: TypeAlias = CharacteristicSeen | DescriptorSeen
Seen: TypeAlias = ServiceSeen | AttributeSeen
Part = TypeVar("Part", ServiceSeen, CharacteristicSeen, DescriptorSeen)


@dataclass(frozen=True)
class Place:
    """The place of a service or an attribute, the same on every unit: from the service inwards the UUIDs (128-bit
    text), and which of several alike each is, counted from 0."""

    parts: tuple[tuple[str, int], ...]

    @property
    def uuid(self) -> str:
        return self.parts[-1][0]

    @property
    def service(self) -> str:
        """The UUID of the service."""
        return self.parts[0][0]

    @property
    def is_descriptor(self) -> bool:
        return len(self.parts) == 3

    @property
    def outer(self) -> Place | None:
        """Of what it is part of; None for a service."""
        return Place(self.parts[:-1]) if len(self.parts) > 1 else None


@dataclass(frozen=True)
class Standing:
    """A service or an attribute as it was seen, with its place, and its path in words; `within` is what it is part of."""

    path: str
    place: Place
    seen: Seen
    within: Standing | None = None

    @property
    def service(self) -> ServiceSeen:
        outermost = self
        while outermost.within is not None:
            outermost = outermost.within
        assert isinstance(outermost.seen, ServiceSeen)
        return outermost.seen


def standings(seen: Inspection) -> Iterator[Standing]:
    """Every service, characteristic and descriptor, each before what is in it."""
    return _walk(seen.services)


def attributes_in(services: Sequence[ServiceSeen]) -> Iterator[tuple[Place, AttributeSeen]]:
    """Every characteristic, then its descriptors, in the order of the table."""
    for standing in _walk(services):
        if not isinstance(standing.seen, ServiceSeen):
            yield standing.place, standing.seen


def _walk(services: Sequence[ServiceSeen]) -> Iterator[Standing]:
    for service in _stand(services, None):
        yield service
        for characteristic in _stand(service.service.characteristics, service):
            yield characteristic
            assert isinstance(characteristic.seen, CharacteristicSeen)
            yield from _stand(characteristic.seen.descriptors, characteristic)


def _stand(parts: Sequence[Part], within: Standing | None) -> Iterator[Standing]:
    twins, met = Counter(part.uuid for part in parts), Counter[str]()
    for part in parts:
        index = met[part.uuid]
        met[part.uuid] += 1
        name = f"{part.name}[{index}]" if twins[part.uuid] > 1 else part.name
        path = f"{within.path}/{name}" if within else name
        above: tuple[tuple[str, int], ...] = within.place.parts if within else ()
        yield Standing(path, Place((*above, (part.uuid, index))), part, within)
