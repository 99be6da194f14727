"""The attribute table of a connected device, as plain data in handle order."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeAlias, TypeVar

from benchrig.values.catalogue import short_uuid

K = TypeVar("K")


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


def offers(attribute: Attribute, any_of: Iterable[str]) -> bool:
    """Whether it has one of these properties; a descriptor has none, and may allow anything."""
    return isinstance(attribute, Descriptor) or bool({*any_of} & {*attribute.properties})


@dataclass(frozen=True)
class Segment:
    """One part of an attribute's address: a UUID (128-bit text), or any, and which of several (from 0)."""

    uuid: str | None
    index: int | None = None


# The UUIDs of a path of segments.
Path: TypeAlias = tuple[str | None, ...]


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
    """`hidden` are services that the radio never shows, whether the device has them or not. What is asked of it is found
    by index and remembered: a plan asks for thousands of attributes, and for the same ones again and again."""

    services: tuple[Service, ...]
    hidden: frozenset[str] = frozenset()
    _answers: dict[tuple[Segment, ...], list[Found]] = field(default_factory=dict, compare=False, repr=False)
    _grouped: dict[tuple[Path, int], list[list[Found]]] = field(default_factory=dict, compare=False, repr=False)

    def attributes(self) -> Iterator[Found]:
        """Every characteristic and descriptor, in handle order of the services."""
        for service in self.services:
            for characteristic in service.characteristics:
                yield Found((service, characteristic))
                for descriptor in characteristic.descriptors:
                    yield Found((service, characteristic, descriptor))

    @cached_property
    def _by_handle(self) -> dict[int, list[Found]]:
        return _index((found.attribute.handle, found) for found in self.attributes())

    @cached_property
    def _by_uuid(self) -> dict[str, list[Found]]:
        """The attributes in whose chain the UUID stands, each once."""
        return _index((uuid, found) for found in self.attributes() for uuid in {node.uuid for node in found.chain})

    def by_handle(self, handle: int) -> list[Found]:
        return self._by_handle.get(handle, [])

    def may_hide(self, handle: int) -> bool:
        """Whether a handle where nothing is shown may belong to a hidden service: one between those that are shown."""
        shown = [service.handle for service in self.services]
        shown += [*self._by_handle, *(handle - 1 for handle in self._by_handle)]  # and the declarations
        return bool(self.hidden) and handle not in shown and handle < max(shown, default=0x10000)

    def find(self, path: Sequence[Segment]) -> list[Found]:
        """The attributes whose chain ends with the last segment and passes the others in order."""
        key = tuple(path)
        if key not in self._answers:
            self._answers[key] = self._find(key)
        return self._answers[key]

    def _find(self, path: tuple[Segment, ...]) -> list[Found]:
        uuids = tuple(segment.uuid for segment in path)
        chosen = [depth for depth, segment in enumerate(path) if segment.index is not None]
        if not chosen:
            return self._matching(uuids)
        first, *others = chosen
        found = _choose(self._groups(uuids, first), path[first])
        for depth in others:
            found = _choose(_by_node(found, uuids, depth), path[depth])
        return found

    def _groups(self, uuids: Path, depth: int) -> list[list[Found]]:
        key = uuids, depth
        if key not in self._grouped:
            self._grouped[key] = _by_node(self._matching(uuids), uuids, depth)
        return self._grouped[key]

    def _matching(self, uuids: Path) -> list[Found]:
        """Looked for among those that the rarest UUID leaves."""
        few = [self._by_uuid.get(uuid, []) for uuid in uuids if uuid is not None]
        candidates = min(few, key=len) if few else self.attributes()
        return [candidate for candidate in candidates if _matches(candidate.chain, uuids)]


def _index(pairs: Iterable[tuple[K, Found]]) -> dict[K, list[Found]]:
    index: dict[K, list[Found]] = {}
    for key, found in pairs:
        index.setdefault(key, []).append(found)
    return index


def _matches(chain: Sequence[Any], uuids: Path) -> bool:
    if not _same(chain[-1], uuids[-1]):
        return False
    rest = list(chain[:-1])
    for uuid in reversed(uuids[:-1]):
        while rest and not _same(rest[-1], uuid):
            rest.pop()
        if not rest:
            return False
        rest.pop()
    return True


def _same(node: Any, uuid: str | None) -> bool:
    return uuid is None or node.uuid == uuid


def _by_node(found: Iterable[Found], uuids: Path, depth: int) -> list[list[Found]]:
    """In groups of one node for `uuids[depth]`, in the order in which these come."""
    groups: dict[int, list[Found]] = {}
    for each in found:
        groups.setdefault(_node_at(each, uuids, depth).handle, []).append(each)
    return [*groups.values()]


def _choose(groups: list[list[Found]], segment: Segment) -> list[Found]:
    index = segment.index or 0
    return groups[index] if index < len(groups) else []


def _node_at(found: Found, uuids: Path, depth: int) -> Any:
    """The node of the chain that answers `uuids[depth]`, matching from the end."""
    position = len(found.chain) - 1
    for step in range(len(uuids) - 1, depth, -1):
        position -= 1
        while not _same(found.chain[position], uuids[step - 1]):
            position -= 1
    return found.chain[position]
