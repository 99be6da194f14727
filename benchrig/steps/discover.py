"""discover: the attribute table of the connected unit against the one the plan expects."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import msgspec

from benchrig.radio.table import Address, Segment
from benchrig.source.problem import counted, suggest
from benchrig.source.shape import BAD, Misfit, Reader, describe_value
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node
from benchrig.steps.attribute import AttributeName, Names, by_number, say_services
from benchrig.steps.base import Bindable, ReadingType, Step
from benchrig.steps.bench import Bench
from benchrig.values import catalogue
from benchrig.values.catalogue import decimal_uuid, long_uuid
from benchrig.values.judging import Judgement, Kind
from benchrig.values.limit import Limit

if TYPE_CHECKING:
    from benchrig.radio.table import Characteristic, Service, Table

# Generic access and generic attribute: each device has them, and some operating systems keep them to themselves.
_EVERYWHERE = frozenset({long_uuid(0x1800), long_uuid(0x1801)})
_INDEXED = re.compile(r"([^\[\]]+?)\s*\[(\d{1,4})\]")

PROPERTIES = (
    "broadcast", "read", "write without response", "write", "notify", "indicate", "signed write",
    "extended properties", "reliable write", "writable auxiliaries",
)  # fmt: skip


class ExpectedTable:
    """Service -> characteristic -> its properties (an empty list leaves the properties open)."""

    source_schema: ClassVar[dict[str, Any]] = {
        "type": "object",
        "additionalProperties": {
            "type": "object",
            "additionalProperties": {"type": "array", "items": {"enum": list(PROPERTIES)}},
        },
    }

    def __init__(self, services: dict[str, dict[str, list[str]]]) -> None:
        self.services = services

    @classmethod
    def from_source(cls, value: Any) -> ExpectedTable:
        if not isinstance(value, dict) or not value:
            raise Misfit("expected services with their characteristics", "{battery service: {battery level: [read]}}")
        for service, characteristics in value.items():
            if not isinstance(characteristics, dict):
                found = describe_value(characteristics) if not isinstance(characteristics, list) else "a list"
                raise Misfit(f"expected characteristics with their properties, found {found}", path=(service,))
            for characteristic, properties in characteristics.items():
                _check_properties(properties, (service, characteristic))
        return cls(value)

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        """A UUID as a key (`0x180F`) keeps the text it was written with; a bare decimal one is refused."""
        before = reader.problems.mistakes
        named = _with_text_keys(node, reader, depth=2)
        return BAD if reader.problems.mistakes > before else reader.read_own(named, cls)

    @property
    def in_words(self) -> str:
        return "the table"

    def bind(self, kind: Kind, unit: str = "") -> TableJudge:
        return TableJudge(self)

    def misfits_for(self, kind: Kind, unit: str = "") -> list[Misfit]:
        return []


def _with_text_keys(node: Node, reader: Reader, depth: int) -> Node:
    """The mappings down to a depth with their keys as they were written."""
    if not isinstance(node, MappingNode) or not depth:
        return node
    entries = {}
    for key, child in node.entries.values():
        misfit = decimal_uuid(key)
        if misfit:
            reader.misfit(key, misfit)
        entries[key.text] = (key, _with_text_keys(child, reader, depth - 1))
    return MappingNode(entries, node.place)


def _check_properties(properties: Any, path: tuple[str | int, ...]) -> None:
    if not isinstance(properties, list):
        raise Misfit(f"expected a list of properties, found {describe_value(properties)}", "[read, notify]", path)
    for index, name in enumerate(properties):
        if name not in PROPERTIES:
            raise Misfit(f"unknown property '{name}'", suggest(str(name), PROPERTIES), (*path, index))


class TableJudge:
    """Judges the differences that the step has found; they are worked out against the names of the plan there."""

    def __init__(self, expected: ExpectedTable) -> None:
        self.expected = expected

    def passes(self, value: Any) -> bool:
        return not value.differences

    def judge(self, value: Any, place: str = "") -> Judgement:
        count = sum(map(len, self.expected.services.values()))
        limit = counted(count, "characteristic")
        sentence = "; ".join(value.differences) or f"the table has the expected {limit}"
        return Judgement(passed=not value.differences, limit=limit, sentence=sentence, place=place)


class Comparison(str):
    """The reading `table`: in words, with the differences behind them."""

    __slots__ = ("differences",)
    differences: list[str]

    @classmethod
    def of(cls, differences: list[str]) -> Comparison:
        count = len(differences)
        words = counted(count, "difference") if count else "as expected"
        comparison = cls(words)
        comparison.differences = differences
        return comparison


class DiscoverExpect(msgspec.Struct, omit_defaults=True):
    """What can be expected of a table."""

    table: ExpectedTable | None = None
    elapsed: Limit | None = None
    services: Limit | None = None


class Discover(Step, kw_only=True):
    """Compare the attribute table. A service that the plan lists must have exactly the listed characteristics
    (`extra: allowed` lets it have more); other services are left alone, unless `extra: forbidden` wants none."""

    verb: ClassVar[str] = "discover"
    tries_again: ClassVar[bool] = False

    discover: None
    expect: DiscoverExpect = msgspec.field(default_factory=DiscoverExpect)  # type: ignore[assignment]
    extra: Literal["refused", "allowed", "forbidden"] = "refused"

    def __post_init__(self) -> None:
        if isinstance(self.expect, DiscoverExpect) and isinstance(self.expect.services, Limit):
            self.expect.services = by_number(self.expect.services)

    @property
    def limits(self) -> Mapping[str, Bindable]:
        limits = {"table": self.expect.table, "elapsed": self.expect.elapsed, "services": self.expect.services}
        return {name: limit for name, limit in limits.items() if limit is not None}

    def readings(self, names: Names) -> Mapping[str, ReadingType]:
        table = getattr(self.expect, "table", None)  # either may wait for the run
        services = table.services if isinstance(table, ExpectedTable) else {}
        for service, characteristics in services.items():
            _known(names, service, characteristics)
        _once(names, services)
        say_services(names, getattr(self.expect, "services", None), ("expect", "services"))
        return {
            "table": ReadingType("any", "", "differences from the expected table, by name"),
            "elapsed": ReadingType("number", "s", "reading the table after connecting; not on every radio"),
            "services": ReadingType("list", "", "services by name, in handle order", uuids=True),
        }

    async def run(self, bench: Bench) -> None:
        table = bench.link.table
        if "discover" in bench.link.timing:
            bench.reading("elapsed", round(bench.link.timing["discover"], 6), "s")
        elif bench.wanted("elapsed") and not bench.lacks("elapsed"):
            bench.not_measured(
                "elapsed", "this radio does not report how long the table took; the connect step includes it"
            )
        if bench.wanted("services"):
            bench.reading("services", [bench.names.label(s.uuid, "service") for s in table.services])
        if self.expect.table:
            expected = self.expect.table.services
            differences = [*_differences(expected, table, bench.names, self.extra != "allowed")]
            if self.extra == "forbidden":
                differences += _other_services(expected, table, bench.names)
            bench.reading("table", Comparison.of(differences))


def _known(names: Names, service: str, characteristics: Mapping[str, Any]) -> None:
    """Misfit for a service or characteristic that no name stands for."""
    try:
        _service(names, service)
    except Misfit as misfit:
        raise Misfit(misfit.message, misfit.advice, ("expect", "table")) from misfit
    known: dict[Address, str] = {}
    for name in characteristics:
        try:
            address = _address(names, name)
        except Misfit as misfit:
            raise Misfit(misfit.message, misfit.advice, ("expect", "table", service)) from misfit
        if address in known:
            message = f"'{known[address]}' and '{name}' are the same characteristic"
            raise Misfit(message, "take out one of them", ("expect", "table", service))
        known[address] = name


def _once(names: Names, services: Iterable[str]) -> None:
    """Misfit for a service under two names: what one list refuses the other may ask for."""
    known: dict[str, dict[int | None, str]] = {}
    for service in services:
        uuid, index = _service(names, service)
        before = known.setdefault(uuid, {})
        same = before.values() if index is None else (before[each] for each in (index, None) if each in before)
        for first in same:
            advice = "make it one list, or give each an index: battery[0], battery[1]"
            raise Misfit(f"'{first}' and '{service}' are the same service", advice, ("expect", "table"))
        before[index] = service


def _service(names: Names, name: str) -> tuple[str, int | None]:
    """Its UUID, and which one of several it is. Misfit for an unknown one."""
    match = _INDEXED.fullmatch(name)
    return (names.service(match[1]), int(match[2])) if match else (names.service(name), None)


def _address(names: Names, name: str) -> Address:
    """Where the characteristic is within its service. Misfit for a name that means none."""
    if "/" in name:
        raise Misfit(f"'{name}' is a path; a table lists characteristics under their service", "write the last part")
    address = names.meaning(AttributeName(name)).address
    if address.handle is not None:
        return address
    last = address.path[-1]
    kinds = [kind for kind in ("characteristic", "descriptor") if catalogue.name_of(last.uuid or "", kind)]
    if kinds == ["descriptor"]:
        raise Misfit(f"'{name}' is a descriptor; a table lists characteristics", "take it out")
    return Address((Segment(last.uuid, last.index or 0),))


def _differences(
    expected: Mapping[str, Mapping[str, list[str]]], table: Table, names: Names, exact: bool
) -> Iterator[str]:
    for name, characteristics in expected.items():
        uuid, index = _service(names, name)
        services = [service for service in table.services if service.uuid == uuid]
        if len(services) <= (index or 0):
            yield f"service {name} is missing"
        elif len(services) > 1 and index is None:
            yield f"the table has service {name} {len(services)} times"
        else:
            yield from _service_differences(name, characteristics, services[index or 0], names, exact)


def _other_services(expected: Mapping[str, object], table: Table, names: Names) -> Iterator[str]:
    """Services that are not listed; what every device has is not."""
    listed = {_service(names, name) for name in expected}
    seen: Counter[str] = Counter()
    for service in table.services:
        index = seen[service.uuid]
        seen[service.uuid] += 1
        if service.uuid not in _EVERYWHERE and not {(service.uuid, None), (service.uuid, index)} & listed:
            yield f"service {names.label(service.uuid, 'service')} is unexpected (handle 0x{service.handle:04X})"


def _service_differences(
    service_name: str, expected: Mapping[str, list[str]], service: Service, names: Names, exact: bool
) -> Iterator[str]:
    left = list(service.characteristics)
    for name, properties in expected.items():
        found = _found(_address(names, name), service)
        if found is None:
            yield f"{service_name}/{name} is missing"
            continue
        if found in left:
            left.remove(found)
        yield from _property_differences(f"{service_name}/{name}", properties, found)
    if exact:
        for characteristic in left:
            label = names.label(characteristic.uuid, "characteristic")
            yield f"{service_name}/{label} is unexpected (handle 0x{characteristic.handle:04X})"


def _found(address: Address, service: Service) -> Characteristic | None:
    if address.handle is not None:
        return next((c for c in service.characteristics if c.handle == address.handle), None)
    segment = address.path[-1]
    fitting = [c for c in service.characteristics if c.uuid == segment.uuid]
    return fitting[segment.index or 0] if (segment.index or 0) < len(fitting) else None


def _property_differences(name: str, expected: list[str], found: Characteristic) -> Iterator[str]:
    if expected and set(expected) != set(found.properties):
        missing = sorted(set(expected) - set(found.properties))
        extra = sorted(set(found.properties) - set(expected))
        parts = [f"lacks {', '.join(missing)}"] * bool(missing) + [f"also has {', '.join(extra)}"] * bool(extra)
        yield f"{name} {' and '.join(parts)}"
