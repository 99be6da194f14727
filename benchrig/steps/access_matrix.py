"""What a plan says that each attribute must ask for, and the same laid over the table of a device."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, cast

from benchrig.access.subject import Subject, can_subscribe, is_switch, offers
from benchrig.errors import UsageError
from benchrig.radio.offers import hidden_attribute
from benchrig.radio.security import LARGEST_KEY, SMALLEST_KEY
from benchrig.radio.table import Address, Found, Segment
from benchrig.source.problem import suggest
from benchrig.source.references import has_reference
from benchrig.source.shape import BAD, LATE, Misfit, Reader, describe_value
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar
from benchrig.steps.attribute import AttributeName, Names
from benchrig.steps.lookup import look_up, path_of
from benchrig.values.access import LEVELS, NEEDS, OPERATIONS, Need, Operation
from benchrig.values.catalogue import decimal_uuid, name_of

if TYPE_CHECKING:
    from benchrig.radio.table import Attribute, Table

OTHERS, KEY_SIZE = "others", "key_size"
_EXAMPLE = "for example: {read: open, write: encrypted}"
_NO_DESCRIPTOR = ("subscribe", "write without response")


class Matrix:
    """Attribute -> operation -> what it must need; `others` are those that have no name in it."""

    source_schema: ClassVar[dict[str, Any]] = {
        "type": "object",
        "minProperties": 1,
        "additionalProperties": {
            "type": "object",
            "minProperties": 1,
            "propertyNames": {"enum": [*OPERATIONS, KEY_SIZE]},
            "properties": {KEY_SIZE: {"type": "integer", "minimum": SMALLEST_KEY, "maximum": LARGEST_KEY}},
            "additionalProperties": {"enum": list(NEEDS)},
        },
    }

    def __init__(
        self,
        named: Mapping[str, Mapping[Operation, Need]],
        keys: Mapping[str, Any] | None = None,
        sizes: Mapping[str, int] | None = None,
    ) -> None:
        """`keys` are those of the file, where they are not the names: 0x2A6E is a number there. `sizes` are those of the key
        that an attribute asks for."""
        self._keys = keys or {}
        self.sizes = sizes or {}
        self.others = named.get(OTHERS, {})
        self.named = {name: needs for name, needs in named.items() if name != OTHERS}

    @classmethod
    def from_source(cls, value: Any) -> Matrix:
        if not isinstance(value, dict) or not value:
            advice = "{temperature: {read: open, subscribe: encrypted}, others: {read: open}}"
            raise Misfit("expected attributes with what each operation needs", advice)
        return cls(value)

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        """A UUID as a key (`0x2A6E`) keeps the text it was written with; a bare decimal one is refused."""
        if has_reference(node):
            return LATE
        if not isinstance(node, MappingNode):
            return reader.read_own(node, cls)
        before, named, keys, sizes = reader.problems.mistakes, dict[str, Any](), dict[str, Any](), dict[str, int]()
        for written, (key, needs) in node.entries.items():
            if misfit := decimal_uuid(key):
                reader.misfit(key, misfit)
            elif key.text == OTHERS or isinstance(reader.read(key, AttributeName), str):
                named[key.text], keys[key.text] = _needs(needs, reader), written
                if (size := _key_size(needs, reader)) is not None:
                    sizes[key.text] = size
        if not named and reader.problems.mistakes == before:
            return reader.read_own(node, cls)
        return BAD if reader.problems.mistakes > before else cls(named, keys, sizes)

    @property
    def judges(self) -> bool:
        """Whether anything is asked of the unit."""
        return any(need != "any" for row in (*self.named.values(), self.others) for need in row.values())

    @property
    def highest(self) -> int:
        """The most that any operation needs, as an index of LEVELS."""
        needs = [need for row in (*self.named.values(), self.others) for need in row.values()]
        return max((LEVELS.index(need) for need in needs if need in LEVELS), default=0)

    def misfits(self, names: Names) -> Iterator[Misfit]:
        """Attributes that nobody knows, that are named twice, or that cannot be used so; with paths into the matrix."""
        known: dict[Address, str] = {}
        for name, needs in self.named.items():
            for misfit in self._misfits_of(name, needs, names, known):
                yield Misfit(misfit.message, misfit.advice, (self._keys.get(name, name), *misfit.path))

    def _misfits_of(
        self, name: str, needs: Mapping[Operation, Need], names: Names, known: dict[Address, str]
    ) -> Iterator[Misfit]:
        try:
            address = names.meaning(name).address
        except Misfit as misfit:
            yield Misfit(misfit.message, misfit.advice)
            return
        if address in known:
            yield Misfit(f"'{known[address]}' and '{name}' are the same attribute", "make it one line")
        known[address] = name
        yield from _misfits_of(name, address, needs)


def _needs(node: Node, reader: Reader) -> dict[Operation, Need]:
    """Operation -> need, with every word that is neither told."""
    if not isinstance(node, MappingNode) or not node.entries:
        found = "nothing" if isinstance(node, MappingNode) else describe_value(getattr(node, "value", []))
        reader.misfit(node, Misfit(f"expected operations with what they need, found {found}", _EXAMPLE))
        return {}
    needs: dict[Operation, Need] = {}
    for key, value in node.entries.values():
        need = getattr(value, "value", None)
        if key.text == KEY_SIZE:
            continue
        if key.text not in OPERATIONS:
            reader.problems.add(
                key.place, f"unknown operation '{key.text}'", suggest(key.text, [*OPERATIONS, KEY_SIZE])
            )
        elif need not in NEEDS:
            advice = suggest(str(need), NEEDS) if isinstance(need, str) else ""
            message = f"expected one of {', '.join(NEEDS)}; found {describe_value(need)}"
            reader.misfit(value, Misfit(message, advice))
        else:
            needs[key.text] = cast("Need", need)
    return needs


def _key_size(node: Node, reader: Reader) -> int | None:
    """The size of the key that an attribute asks for, where the plan says one."""
    size = node.get(KEY_SIZE) if isinstance(node, MappingNode) else None
    if size is None:
        return None
    value = getattr(size, "value", None)
    if isinstance(value, int) and not isinstance(value, bool) and SMALLEST_KEY <= value <= LARGEST_KEY:
        return value
    found = describe_value(value) if isinstance(size, Scalar) else "no number"
    reader.misfit(
        size, Misfit(f"expected {SMALLEST_KEY} to {LARGEST_KEY} bytes, found {found}", f"for example: {LARGEST_KEY}")
    )
    return None


def _misfits_of(name: str, address: Address, needs: Mapping[Operation, Need]) -> Iterator[Misfit]:
    uuid = address.path[-1].uuid if address.path else None
    descriptor = name_of(uuid, "descriptor") if uuid else None
    if descriptor == "client characteristic configuration":
        advice = "write subscribe: at its characteristic"
        yield Misfit(f"'{name}' is written by subscribing, and by nothing else", advice)
    elif descriptor:
        for operation in _NO_DESCRIPTOR:
            if operation in needs:
                message = f"'{name}' is a descriptor; a descriptor is read and written"
                yield Misfit(message, f"take out {operation}", (operation,))


@dataclass
class Laid:
    """A matrix over a table. `unnamed` are operations that the table offers and the matrix leaves open."""

    subjects: list[Subject] = field(default_factory=list)
    unnamed: list[tuple[Subject, Operation]] = field(default_factory=list)
    # lines about what the radio does not show
    hidden: list[tuple[str, Operation, Need]] = field(default_factory=list)


def lay(
    matrix: Matrix,
    table: Table,
    names: Names,
    *,
    writes: Iterable[str] = (),
    changes: Mapping[str, bytes] | None = None,
) -> Laid:
    """Every attribute of the table with its needs. A name means all attributes that answer to it. AttributeMissing for a
    name that the device does not have, UsageError for an attribute that two names mean."""
    laid = Laid(hidden=[*_hidden(matrix, table, names)])
    by_handle = _named(matrix, table, names)
    written = {handle for name in writes for handle in _handles(name, table, names)}
    seconds = {handle: data for name, data in (changes or {}).items() for handle in _handles(name, table, names)}
    for found in table.attributes():
        attribute = found.attribute
        if is_switch(attribute):
            continue
        name = by_handle.get(attribute.handle, "")
        own, may_write = matrix.named.get(name, {}), attribute.handle in written
        needs, unnamed = _needs_of(attribute, own, matrix.others, written=may_write)
        called = _called(found, name, table, names)
        size = matrix.sizes.get(name or OTHERS, SMALLEST_KEY)
        subject = Subject(called, found, needs, may_write, seconds.get(attribute.handle), size)
        laid.subjects.append(subject)
        laid.unnamed += [(subject, operation) for operation in unnamed]
    return laid


def _named(matrix: Matrix, table: Table, names: Names) -> dict[int, str]:
    by_handle: dict[int, str] = {}
    for name in matrix.named:
        for handle in _handles(name, table, names):
            if handle in by_handle:
                message = f"'{by_handle[handle]}' and '{name}' are both the attribute with handle 0x{handle:04X}"
                raise UsageError(message, advice="give each an index or its service: temperature[0]")
            by_handle[handle] = name
    return by_handle


def _handles(name: str, table: Table, names: Names) -> list[int]:
    address = names.meaning(name).address
    found = table.by_handle(address.handle) if address.handle is not None else table.find(address.path)
    if not found and hidden_attribute(name, table.hidden, names):
        return []
    return [each.attribute.handle for each in found or [look_up(table, names, name).found]]


def _hidden(matrix: Matrix, table: Table, names: Names) -> Iterator[tuple[str, Operation, Need]]:
    for name, needs in matrix.named.items():
        if not _handles(name, table, names):
            yield from ((name, operation, need) for operation, need in needs.items() if need != "any")


def _needs_of(
    attribute: Attribute, own: Mapping[Operation, Need], others: Mapping[Operation, Need], *, written: bool
) -> tuple[dict[Operation, Need], list[Operation]]:
    """What is judged of one attribute, and what the table offers without a word of the matrix. What the table does not
    offer must not be permitted, as far as that can be tried; `others` are about what it offers."""
    needs: dict[Operation, Need] = {}
    unnamed: list[Operation] = []
    for operation in OPERATIONS:
        if operation in own:
            needs[operation] = own[operation]
        elif offers(attribute, operation):
            if operation in others:
                needs[operation] = others[operation]
            else:
                unnamed.append(operation)
        elif _can_be_tried(attribute, operation, written=written):
            needs[operation] = "never"
    return needs, unnamed


def _can_be_tried(attribute: Attribute, operation: Operation, *, written: bool) -> bool:
    if operation == "subscribe":
        return can_subscribe(attribute)
    return operation == "read" or (operation == "write" and written)


def _called(found: Found, name: str, table: Table, names: Names) -> str:
    """As the matrix calls it, else by the shortest of its names; with its handle where others are called so too."""
    if name:
        alone = len(_handles(name, table, names)) == 1
        return name if alone else _with_handle(name, found)
    uuids = tuple(node.uuid for node in found.chain)
    for first in range(len(uuids) - 1, -1, -1):
        if len(table.find([Segment(uuid) for uuid in uuids[first:]])) == 1:
            return path_of(Found(found.chain[first:]), names)
    return _with_handle(path_of(found, names), found)


def _with_handle(name: str, found: Found) -> str:
    return f"{name} (handle 0x{found.attribute.handle:04X})"
