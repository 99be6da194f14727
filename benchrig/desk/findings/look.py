"""An inspection as rules look at it: every attribute with its path."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.desk.inspection import CharacteristicSeen, Content, DescriptorSeen, Inspection, ServiceSeen
from benchrig.desk.paths import Standing, standings
from benchrig.values.catalogue import long_uuid


class Look:
    def __init__(self, seen: Inspection) -> None:
        self.seen = seen
        self.standings = list(standings(seen))
        self._by_part = {id(one.seen): one for one in self.standings}
        self._order = {one.path: number for number, one in enumerate(self.standings)}

    def path(self, part: ServiceSeen | CharacteristicSeen | DescriptorSeen) -> str:
        return self._by_part[id(part)].path

    def order(self, path: str) -> int:
        """Where it stands in the table; what is no attribute comes first."""
        return self._order.get(path, -1)

    def characteristics(self) -> Iterator[tuple[Standing, CharacteristicSeen]]:
        for standing in self.standings:
            if isinstance(standing.seen, CharacteristicSeen):
                yield standing, standing.seen

    def descriptors(self) -> Iterator[tuple[Standing, DescriptorSeen]]:
        for standing in self.standings:
            if isinstance(standing.seen, DescriptorSeen):
                yield standing, standing.seen

    def values(self) -> Iterator[tuple[Standing, Content]]:
        """What was read. An operating system keeps the configuration of a client to itself, and may show nothing in
        its place."""
        for standing in self.standings:
            part = standing.seen
            hidden = part.uuid == _CLIENT_CONFIGURATION and not self.seen.whole_table
            if not isinstance(part, ServiceSeen) and part.content is not None and not hidden:
                yield standing, part.content

    def sound(self, uuid: str) -> Iterator[tuple[Standing, Content]]:
        """The values of this attribute that fit its format."""
        return ((standing, content) for standing, content in self.values() if standing.seen.uuid == uuid and not content.wrong)  # fmt: skip

    def content(self, uuid16: int) -> Content | None:
        """Of the first characteristic with this UUID."""
        return next((each.content for _, each in self.characteristics() if each.uuid == long_uuid(uuid16)), None)


_CLIENT_CONFIGURATION = long_uuid(0x2902)
