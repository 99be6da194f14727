"""The attribute table of a connected device, as plain data in handle order."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

from benchrig.values.catalogue import short_uuid


@dataclass(frozen=True)
class Descriptor:
    """`obj` is the radio's own object for it."""

    handle: int
    uuid: str
    obj: Any = field(compare=False, repr=False, default=None)


# In the order of their bits (Core Vol 3 Part G 3.3.1.1); a radio may give them in any.
PROPERTIES = ("broadcast", "read", "write without response", "write", "notify", "indicate", "signed write",
              "extended properties")  # fmt: skip


def in_order(properties: Iterable[str]) -> tuple[str, ...]:
    """The properties in the order of their bits; what has no bit of its own comes last."""
    there = set(properties)
    return (*(one for one in PROPERTIES if one in there), *sorted(there - {*PROPERTIES}))


@dataclass(frozen=True)
class Characteristic:
    """`handle` is that of the value; properties are words such as 'read',
    'write', 'write without response', 'notify', 'indicate'."""

    handle: int
    uuid: str
    properties: tuple[str, ...]
    descriptors: tuple[Descriptor, ...] = ()
    obj: Any = field(compare=False, repr=False, default=None)


@dataclass(frozen=True)
class Service:
    handle: int
    uuid: str
    characteristics: tuple[Characteristic, ...] = ()


Attribute: TypeAlias = Characteristic | Descriptor


@dataclass(frozen=True)
class Segment:
    """One part of an attribute's address: a UUID (128-bit text), or any, and which of several (from 0)."""

    uuid: str | None
    index: int | None = None


@dataclass(frozen=True)
class Address:
    """Where an attribute is in the table: by handle, or by a path of segments."""

    path: tuple[Segment, ...] = ()
    handle: int | None = None

    @property
    def text(self) -> str:
        """As a plan may write it without names of its own: '180F/2A19[1]', 'handle 0x0012'."""
        if self.handle is not None:
            return f"handle 0x{self.handle:04X}"
        parts = ((short_uuid(each.uuid or ""), each.index) for each in self.path)
        return "/".join(uuid if index is None else f"{uuid}[{index}]" for uuid, index in parts)


@dataclass(frozen=True)
class Found:
    """An attribute with what it belongs to, outermost first: (service, characteristic[, descriptor])."""

    chain: tuple[Service | Characteristic | Descriptor, ...]

    @property
    def attribute(self) -> Attribute:
        last = self.chain[-1]
        assert not isinstance(last, Service)
        return last

    @property
    def around(self) -> Found:
        """The characteristic that a descriptor belongs to."""
        return Found(self.chain[:2])

    @property
    def service(self) -> Service:
        first = self.chain[0]
        assert isinstance(first, Service)
        return first


@dataclass(frozen=True)
class Table:
    """`hidden` are services that the radio never shows, whether the device has them or not. `find` remembers its
    answers: a plan asks for the same attributes again and again."""

    services: tuple[Service, ...]
    hidden: frozenset[str] = frozenset()
    _answers: dict[tuple[Segment, ...], list[Found]] = field(default_factory=dict, compare=False, repr=False)

    def attributes(self) -> Iterator[Found]:
        """Every characteristic and descriptor, in handle order of the services."""
        for service in self.services:
            for characteristic in service.characteristics:
                yield Found((service, characteristic))
                for descriptor in characteristic.descriptors:
                    yield Found((service, characteristic, descriptor))

    def by_handle(self, handle: int) -> list[Found]:
        return [found for found in self.attributes() if found.attribute.handle == handle]

    def may_hide(self, handle: int) -> bool:
        """Whether a handle where nothing is shown may belong to a hidden service: one between those that are shown."""
        shown = [service.handle for service in self.services]
        values = [found.attribute.handle for found in self.attributes()]
        shown += [*values, *(handle - 1 for handle in values)]  # and the declarations
        return bool(self.hidden) and handle not in shown and handle < max(shown, default=0x10000)

    def find(self, path: Sequence[Segment]) -> list[Found]:
        """The attributes whose chain ends with the last segment and passes the others in order."""
        key = tuple(path)
        if key not in self._answers:
            self._answers[key] = self._find(key)
        return self._answers[key]

    def _find(self, path: tuple[Segment, ...]) -> list[Found]:
        found = [candidate for candidate in self.attributes() if _matches(candidate.chain, path)]
        for depth, segment in enumerate(path):
            if segment.index is not None:
                found = _choose(found, path, depth, segment.index)
        return found


def _matches(chain: Sequence[Any], path: Sequence[Segment]) -> bool:
    if not _same(chain[-1], path[-1]):
        return False
    rest = list(chain[:-1])
    for segment in reversed(path[:-1]):
        while rest and not _same(rest[-1], segment):
            rest.pop()
        if not rest:
            return False
        rest.pop()
    return True


def _same(node: Any, segment: Segment) -> bool:
    return segment.uuid is None or node.uuid == segment.uuid


def _choose(found: list[Found], path: Sequence[Segment], depth: int, index: int) -> list[Found]:
    """Keep those whose node for `path[depth]` is the index-th distinct one."""
    nodes = [(candidate, _node_at(candidate, path, depth)) for candidate in found]
    handles = list(dict.fromkeys(node.handle for _, node in nodes))
    if index >= len(handles):
        return []
    return [candidate for candidate, node in nodes if node.handle == handles[index]]


def _node_at(found: Found, path: Sequence[Segment], depth: int) -> Any:
    """The node of the chain that answers `path[depth]`, matching from the end."""
    position = len(found.chain) - 1
    for step in range(len(path) - 1, depth, -1):
        position -= 1
        while not _same(found.chain[position], path[step - 1]):
            position -= 1
    return found.chain[position]
