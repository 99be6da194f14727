"""How a plan names attributes, and what a name means: its UUIDs and the format of its value.

temperature                          an assigned name, or an alias of the plan
environmental sensing/temperature    within a service
temperature/valid range              a descriptor of it
temperature[1]                       the second of several, in handle order
6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40, 0x2A6E or '2A6E'
handle 0x0012
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import msgspec

from benchrig.radio.table import Address, Segment
from benchrig.source.problem import close, meant
from benchrig.source.shape import Misfit, Reader, describe_value
from benchrig.source.yaml import Node
from benchrig.values import catalogue
from benchrig.values.catalogue import decimal_uuid
from benchrig.values.format import Format, FormatSpec

_SEGMENT = re.compile(r"([^\[\]]+?)\s*(?:\[(\d{1,4})\])?")
_HANDLE = re.compile(r"handle\s+(0x[0-9A-Fa-f]{1,4})")
_UUID = re.compile(r"(?:0x)?(?:[0-9A-Fa-f]{4}|[0-9A-Fa-f]{8})|[0-9A-Fa-f]{8}(?:-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}")


class Uuid(str):
    """A UUID as 128-bit text in small letters, written as such, as 0x…, or as quoted short hex."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": ["string", "integer"]}

    @classmethod
    def from_source(cls, value: Any) -> Uuid:
        """Raises Misfit; a bare number is refused because decimal and hex cannot be told apart any more."""
        if isinstance(value, int) and not isinstance(value, bool):
            if not 0 <= value <= 0xFFFF:
                raise Misfit(f"{value} is not a 16-bit UUID", "write a long UUID as text in its full form")
            return cls(catalogue.normal_uuid(f"{value:04X}"))
        if not isinstance(value, str):
            raise Misfit(f"expected a UUID, found {describe_value(value)}", _UUID_ADVICE)
        if not _UUID.fullmatch(value):
            raise Misfit(f"'{value}' is not a UUID", catalogue.miscounted(value) or _UUID_ADVICE)
        return cls(catalogue.normal_uuid(value.removeprefix("0x")))

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        misfit = decimal_uuid(node)
        return reader.misfit(node, misfit) if misfit else reader.read_own(node, cls)


_UUID_ADVICE = "for example: 0x2A6E, '2A6E', or 6b1d0002-9a53-4c86-8a3e-2f0f6c1d7e40"


class AttributeName(str):
    """An attribute as the plan writes it; what it means is up to Names."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": ["string", "integer"]}

    @classmethod
    def from_source(cls, value: Any) -> AttributeName:
        if isinstance(value, int) and not isinstance(value, bool) and 0 < value <= 0xFFFF:
            value = f"0x{value:04X}"
        if not isinstance(value, str):
            raise Misfit(
                f"expected the name of an attribute, found {describe_value(value)}", "for example: temperature"
            )
        if not _HANDLE.fullmatch(value):
            for part in value.split("/"):
                if not _SEGMENT.fullmatch(part.strip()):
                    raise Misfit(
                        f"'{value}' is not the name of an attribute",
                        "for example: temperature, battery service/battery level, temperature[1]",
                    )
        return cls(value)

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        misfit = decimal_uuid(node)
        return reader.misfit(node, misfit) if misfit else reader.read_own(node, cls)


class ServiceName(str):
    """A service as the plan writes it: an assigned name or a UUID, 0xFF10 too."""

    __slots__ = ()
    source_schema: ClassVar[dict[str, Any]] = {"type": ["string", "integer"]}

    @classmethod
    def from_source(cls, value: Any) -> ServiceName:
        if isinstance(value, str):
            return cls(value)
        if not isinstance(value, int) or isinstance(value, bool) or not 0 < value <= 0xFFFF:
            raise Misfit(f"expected a service, found {describe_value(value)}", _UUID_ADVICE)
        return cls(f"0x{value:04X}")

    @classmethod
    def from_node(cls, node: Node, reader: Reader) -> Any:
        misfit = decimal_uuid(node)
        return reader.misfit(node, misfit) if misfit else reader.read_own(node, cls)


class AttributeSpec(FormatSpec, kw_only=True, omit_defaults=True, frozen=True):
    """An alias: where the attribute is, and how its value reads (the keys of a format)."""

    uuid: Uuid | None = None
    handle: int | None = None
    service: str | None = None
    index: int | None = None

    def misfits(self) -> Iterable[Misfit]:
        if (self.uuid is None) == (self.handle is None):
            yield Misfit("an attribute needs either its uuid or its handle", "for example: {uuid: 0x2A6E}")
        if self.handle is not None and not 0 < self.handle <= 0xFFFF:
            yield Misfit(
                f"a handle is from 0x0001 to 0xFFFF, not {self.handle}", "for example: 0x0012", path=("handle",)
            )
        if self.index is not None and self.index < 0:
            yield Misfit(f"index counts from 0, {self.index} is below", "write 0 for the first", path=("index",))
        yield from super().misfits()


@dataclass(frozen=True)
class Meaning:
    """What a name stands for: the address, and the format of the value where one is known."""

    name: str
    address: Address
    format: Format | None


class Names:
    """The names that a plan may use: its own aliases first, then the assigned numbers."""

    def __init__(
        self, aliases: Mapping[str, AttributeSpec] | None = None, *, advice: str = "", are_all: bool = True
    ) -> None:
        """`advice` says where a name can come from that is not known, and like none that is. `are_all` is false where a
        file of names could not be read: no name is unknown then."""
        self._are_all = are_all
        self._aliases = dict(aliases or {})
        self._advice = {**_UNKNOWN_ADVICE, **({"attribute": advice} if advice else {})}
        self._formats = {name: _format_of(spec) for name, spec in self._aliases.items()}
        self._by_uuid = {str(spec.uuid): name for name, spec in self._aliases.items() if _stands_for_all(spec)}
        self._said: dict[str, str] = {}
        self._known: dict[str, Meaning] = {}

    @property
    def aliases(self) -> Mapping[str, AttributeSpec]:
        """The plan's own names."""
        return self._aliases

    def meaning(self, name: AttributeName | str) -> Meaning:
        """Raises Misfit for a name that is not known, with the nearest ones."""
        found = self._known.get(name)
        if found is None:
            found = self._known[name] = self._found(str(name))
        return found

    def service(self, name: str) -> str:
        """The UUID of a service, as 128-bit text; Misfit for an unknown one."""
        return self._uuid(name, "service")

    def say(self, service: str) -> None:
        """From here on the service is labelled with this word of the plan: 'battery' and 'battery service' are one.
        Misfit for an unknown one."""
        self._said[self.service(service)] = service

    def label(self, uuid: str, kind: str | None = None) -> str:
        """A name for people: alias, the plan's word for a service, assigned name, or the UUID itself."""
        own = self._by_uuid.get(uuid) or self._said.get(uuid)
        return own or catalogue.name_of(uuid, kind) or catalogue.short_uuid(uuid)

    def format_of(self, uuid: str) -> Format | None:
        alias = self._by_uuid.get(uuid)
        return (self._formats[alias] if alias else None) or catalogue.definition(uuid)

    def _found(self, name: str) -> Meaning:
        try:
            return self._find(name)
        except Misfit:
            if self._are_all:
                raise
            return Meaning(name, Address(handle=0xFFFF), None)

    def _find(self, name: str) -> Meaning:
        if match := _HANDLE.fullmatch(name):
            return Meaning(name, Address(handle=int(match[1], 16)), None)
        parts = [part.strip() for part in name.split("/")]
        spec = self._aliases.get(parts[-1])
        if spec is not None and spec.handle is not None:
            return Meaning(name, Address(handle=spec.handle), self._formats[parts[-1]])
        path: list[Segment] = []
        for part in parts:
            path += self._segments(part, last=part is parts[-1], only=len(parts) == 1)
        last = path[-1].uuid
        own = self._formats.get(parts[-1]) or self._formats.get(parts[-1].partition("[")[0].strip())
        return Meaning(name, Address(tuple(path)), own or (self.format_of(last) if last else None))

    def _segments(self, part: str, *, last: bool, only: bool) -> list[Segment]:
        match = _SEGMENT.fullmatch(part)
        if match is None:
            raise Misfit(f"'{part}' is not the name of an attribute")
        index = int(match[2]) if match[2] is not None else None
        spec = self._aliases.get(match[1])
        if spec is None:
            kind = None if not last else "attribute"
            return [Segment(self._uuid(match[1], kind), index)]
        before = [Segment(self.service(spec.service))] if spec.service and only else []
        return [*before, Segment(spec.uuid, spec.index if index is None else index)]

    def _uuid(self, name: str, kind: str | None) -> str:
        if _UUID.fullmatch(name) and not catalogue_has(name, kind):
            return str(Uuid.from_source(name))
        for wanted in _KINDS[kind]:
            uuid = catalogue.uuid_of(name, wanted)
            if uuid is not None:
                return uuid
        what = "service" if kind == "service" else "attribute"
        advice = catalogue.miscounted(name) or self._meant(name, kind) or self._advice[what]
        raise Misfit(f"unknown {what} '{name}'", advice)

    def _meant(self, name: str, kind: str | None) -> str:
        """What to write instead of a name that is not known, '' where that is anybody's guess."""
        if _SHORT_HANDLE.fullmatch(name):
            return f"a handle is written 'handle {name}', a UUID has 4, 8 or 32 digits"
        own = [*self._aliases] if kind != "service" else []
        assigned = [each for wanted in _KINDS[kind] for each in catalogue.names(wanted)]
        if kind == "service":
            assigned += [f"{short} service" for short in catalogue.names("service")]
        # of hundreds of assigned names one is always a little like an own name that was not brought along
        longer = [each for each in assigned if len(name) >= _BEGINS and each.startswith(f"{name} ")]
        near = longer[:3] or close(name, assigned, _ASSIGNED_LIKENESS)
        return meant(close(name, [*own, *near]) or near)


_KINDS: dict[str | None, tuple[str, ...]] = {
    "service": ("service",),
    "attribute": ("characteristic", "descriptor"),
    None: ("service", "characteristic", "descriptor"),
}
_ASSIGNED_LIKENESS = 0.75
_BEGINS = 4
_SHORT_HANDLE = re.compile(r"0x[0-9A-Fa-f]{1,3}")
_UNKNOWN_ADVICE = {
    "service": "use an assigned name or the UUID",
    "attribute": "give it a name under device: attributes:, or use its UUID or handle",
}


def catalogue_has(name: str, kind: str | None) -> bool:
    return any(catalogue.uuid_of(name, wanted) is not None for wanted in _KINDS[kind])


def _stands_for_all(spec: AttributeSpec) -> bool:
    """Whether the alias may label whatever has its UUID; one of several, or an adopted one in a service, may not."""
    own = spec.uuid is not None and catalogue.name_of(str(spec.uuid)) is None
    return spec.uuid is not None and spec.index is None and (spec.service is None or own)


# The keys of a limit on services that name some.
NAMING = ("contains", "lacks", "equals", "differs")


def by_number(limit: Any) -> Any:
    """A limit on services with the UUIDs that are numbers in it (0xFF10) as text, as the reading has them."""
    changed = {key: _worded(getattr(limit, key)) for key in NAMING if hasattr(limit, key)}
    return msgspec.structs.replace(limit, **changed) if changed else limit


def _worded(value: Any) -> Any:
    if isinstance(value, list):
        return [_worded(item) for item in value]
    is_uuid = isinstance(value, int) and not isinstance(value, bool) and 0 < value <= 0xFFFF
    return f"0x{value:04X}" if is_uuid else value


def say_services(names: Names, limit: Any, path: tuple[str, ...]) -> None:
    """Take over the words that a limit on a list of services has for them. Misfit, with its path, for an unknown one."""
    for key in NAMING:
        value = getattr(limit, key, None)
        for word in value if isinstance(value, list) else [value]:
            if isinstance(word, str):
                try:
                    names.say(word.partition("=")[0])
                except Misfit as misfit:
                    raise Misfit(misfit.message, misfit.advice, (*path, key)) from misfit


def _format_of(spec: AttributeSpec) -> Format | None:
    """The format an alias gives; None when it gives none and the UUID decides."""
    return None if spec.as_ is None and not spec.fields else spec.built
