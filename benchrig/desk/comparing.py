"""Two inspections side by side: what has come, what has gone, what has changed.

Attributes are matched by their UUIDs and which of their kind they are, never by handle: a table that only moved is the
same table. Values stand apart, since most of them may change at any time.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import msgspec

from benchrig.desk.inspection import CharacteristicSeen, Inspection, ServiceSeen
from benchrig.desk.paths import Place, Standing, standings
from benchrig.radio.offers import CCCD, HIDDEN
from benchrig.values.presentation import PRESENTATION_FORMAT


class Change(msgspec.Struct, frozen=True):
    """`what` is 'properties', 'access' ('read', or why it could not be read), 'format', 'value',
    a part of the advertising, or of what pairing came to."""

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
    whole = before.whole_table and after.whole_table
    old, new = _by_place(before, whole), _by_place(after, whole)
    pairs = [(old[place], new[place]) for place in new if place in old]
    return Comparison(
        added=list(_outermost(new, old)),
        removed=list(_outermost(old, new)),
        changed=[change for pair in pairs for change in _structure(*pair)]
        + [*_advertised(before, after), *_security(before, after)],
        values=[change for pair in pairs if whole or not _is_subscription(pair[0]) for change in _value(*pair)],
        advertising=list(_advertising(before, after)),
        moved=sum(one.seen.handle != other.seen.handle for one, other in pairs),
    )


def _by_place(seen: Inspection, whole: bool) -> dict[Place, Standing]:
    """Without what some radio hides, where one of two did not show the whole table."""
    hidden = frozenset() if whole else HIDDEN["host"]
    return {standing.place: standing for standing in standings(seen) if standing.service.uuid not in hidden}


def _outermost(these: dict[Place, Standing], those: dict[Place, Standing]) -> Iterator[str]:
    """What is only in `these`, without the parts of what is named already."""
    for place, standing in these.items():
        if place not in those and (place.outer is None or place.outer in those):
            yield standing.path


def _structure(old: Standing, new: Standing) -> Iterator[Change]:
    one, other = old.seen, new.seen
    if isinstance(one, ServiceSeen) or isinstance(other, ServiceSeen):
        return
    if (
        isinstance(one, CharacteristicSeen)
        and isinstance(other, CharacteristicSeen)
        and one.properties != other.properties
    ):
        yield Change(new.path, "properties", one.properties, other.properties)
    # of what a look did not come to nothing is known
    if one.is_known and other.is_known and one.access != other.access:
        yield Change(new.path, "access", one.access, other.access)
    before, after = one.content, other.content
    if _is_presentation(new) and before is not None and after is not None and before.raw != after.raw:
        yield Change(new.path, "format", before, after)


def _security(before: Inspection, after: Inspection) -> Iterator[Change]:
    """What pairing came to, where both have paired as the same."""
    one, other = before.security, after.security
    if one is None or other is None or one.capability != other.capability:
        return
    for name in ("failure", "method", "secure_connections", "authenticated", "bonded", "key_size"):
        pair = getattr(one, name), getattr(other, name)
        if pair[0] != pair[1] and None not in pair:
            yield Change("pairing", name.replace("_", " "), *pair)


def _value(old: Standing, new: Standing) -> Iterator[Change]:
    one, other = old.seen, new.seen
    if isinstance(one, ServiceSeen) or isinstance(other, ServiceSeen) or one.content is None or other.content is None:
        return
    if one.content.raw != other.content.raw and not _is_presentation(new):
        yield Change(new.path, "value", one.content, other.content)


def _is_subscription(standing: Standing) -> bool:
    """An operating system subscribes by itself."""
    return standing.seen.uuid == CCCD


def _is_presentation(standing: Standing) -> bool:
    """Whether it says how a value reads: another format means that the same bytes are another value."""
    return standing.seen.uuid == PRESENTATION_FORMAT


def _advertising(before: Inspection, after: Inspection) -> Iterator[Change]:
    """What may change on its own, or from unit to unit; service data are values that come and go."""
    one, other = before.advertising, after.advertising
    parts: dict[str, tuple[Any, Any]] = {
        "name": (one.name, other.name),
        "address type": (before.address_type, after.address_type),
        "tx power": (one.tx_power, other.tx_power),
        "manufacturer data": (one.manufacturer_data, other.manufacturer_data),
    }
    yield from (Change("advertising", what, *pair) for what, pair in parts.items() if pair[0] != pair[1])


def _advertised(before: Inspection, after: Inspection) -> Iterator[Change]:
    """The services that clients look for. An operating system adds those that it has seen in the table, so they count
    only where the payload itself is known."""
    one, other = before.advertising, after.advertising
    if None not in (one.payload, other.payload) and one.services != other.services:
        yield Change("advertising", "services", one.services, other.services)
