"""Two inspections side by side: what has come, what has gone, what has changed.

Attributes are matched by their UUIDs and which of their kind they are, never by handle: a table that only moved is the
same table. Values stand apart, since most of them may change at any time.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec

from benchrig.desk.inspection import CharacteristicSeen, Inspection, ServiceSeen
from benchrig.desk.paths import Key, Standing, standings


class Change(msgspec.Struct, frozen=True):
    """`what` is 'properties', 'access' ('read', or why it could not be read), 'value', 'name' or 'services'."""

    where: str
    what: str
    before: Any
    after: Any


class Comparison(msgspec.Struct, frozen=True):
    """`added`, `removed` and `changed` are the structure; `values` and `advertising` may change on their own; `moved`
    counts the attributes that are the same with other handles."""

    added: list[str]
    removed: list[str]
    changed: list[Change]
    values: list[Change]
    advertising: list[Change]
    moved: int = 0

    @property
    def same_structure(self) -> bool:
        return not (self.added or self.removed or self.changed)


def compare(before: Inspection, after: Inspection) -> Comparison:
    """What `after` has otherwise than `before`."""
    old, new = _by_key(before), _by_key(after)
    pairs = [(old[key], new[key]) for key in new if key in old]
    return Comparison(
        added=list(_outermost(new, old)),
        removed=list(_outermost(old, new)),
        changed=[change for pair in pairs for change in _structure(*pair)],
        values=[change for pair in pairs for change in _value(*pair)],
        advertising=list(_advertising(before, after)),
        moved=sum(one.seen.handle != other.seen.handle for one, other in pairs),
    )


def _by_key(seen: Inspection) -> dict[Key, Standing]:
    return {standing.key: standing for standing in standings(seen)}


def _outermost(these: dict[Key, Standing], those: dict[Key, Standing]) -> Iterator[str]:
    """What is only in `these`, without the parts of what is named already."""
    for key, standing in these.items():
        if key not in those and (len(key) == 1 or key[:-1] in those):
            yield standing.path


def _structure(old: Standing, new: Standing) -> Iterator[Change]:
    one, other = old.seen, new.seen
    if (
        isinstance(one, CharacteristicSeen)
        and isinstance(other, CharacteristicSeen)
        and one.properties != other.properties
    ):
        yield Change(new.path, "properties", one.properties, other.properties)
    if not isinstance(one, ServiceSeen) and not isinstance(other, ServiceSeen) and one.unread != other.unread:
        yield Change(new.path, "access", one.unread or "read", other.unread or "read")


def _value(old: Standing, new: Standing) -> Iterator[Change]:
    one, other = old.seen, new.seen
    if isinstance(one, ServiceSeen) or isinstance(other, ServiceSeen) or one.content is None or other.content is None:
        return
    if one.content.raw != other.content.raw:
        yield Change(new.path, "value", one.content, other.content)


def _advertising(before: Inspection, after: Inspection) -> Iterator[Change]:
    """What every event says alike; manufacturer and service data are values that come and go. An operating system
    adds the services that it has seen in the table, so these count only where the payload itself is known."""
    one, other = before.advertising, after.advertising
    if one.name != other.name:
        yield Change("advertising", "name", one.name, other.name)
    if None not in (one.payload, other.payload) and one.services != other.services:
        yield Change("advertising", "services", one.services, other.services)
