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

Seen: TypeAlias = ServiceSeen | CharacteristicSeen | DescriptorSeen
# UUID and which of its kind, for each part of the path.
Key: TypeAlias = tuple[tuple[str, int], ...]
Part = TypeVar("Part", ServiceSeen, CharacteristicSeen, DescriptorSeen)


@dataclass(frozen=True)
class Standing:
    """An attribute with its path in words and its key; `within` is what it is part of."""

    path: str
    key: Key
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
    for service in _stand(seen.services, None):
        yield service
        for characteristic in _stand(service.service.characteristics, service):
            yield characteristic
            assert isinstance(characteristic.seen, CharacteristicSeen)
            yield from _stand(characteristic.seen.descriptors, characteristic)


def path_of(seen: Inspection, part: Seen) -> str:
    """The path of a part of this inspection."""
    return next(standing.path for standing in standings(seen) if standing.seen is part)


def _stand(parts: Sequence[Part], within: Standing | None) -> Iterator[Standing]:
    twins = Counter(part.uuid for part in parts)
    for part, index in _counted(parts):
        name = f"{part.name}[{index}]" if twins[part.uuid] > 1 else part.name
        path = f"{within.path}/{name}" if within else name
        above: Key = within.key if within else ()
        yield Standing(path, (*above, (part.uuid, index)), part, within)


def _counted(parts: Sequence[Part]) -> Iterator[tuple[Part, int]]:
    """Each with how many of the same UUID came before it."""
    met: Counter[str] = Counter()
    for part in parts:
        yield part, met[part.uuid]
        met[part.uuid] += 1
