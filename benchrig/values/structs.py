"""Structures: fields one after the other, some of them there or not as a flags field says; and lists."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from benchrig.errors import MalformedValue
from benchrig.source.problem import suggest
from benchrig.values.base import Format, Kind, count_bytes, hex_text, said
from benchrig.values.numbers import BooleanFormat, IntegerFormat
from benchrig.values.value import Value

T = TypeVar("T")
U = TypeVar("U")

FLAGS = "flags"


@dataclass(frozen=True)
class Part:
    """Named bits of a number: those under `mask`, read as `format`."""

    name: str
    mask: int
    format: IntegerFormat | BooleanFormat

    def plain(self) -> Part:
        form = self.format
        return replace(self, format=form.plain() if isinstance(form, IntegerFormat) else form)

    def decode(self, number: int) -> Value:
        return self.format.value_of((number & self.mask) // (self.mask & -self.mask))

    def encode(self, value: Any) -> int:
        return self.format.pattern_of(value) * (self.mask & -self.mask)


@dataclass(frozen=True)
class Field:
    """A field that is there when all bits of `when` are set in the flags and all bits of `unless` are clear. Its
    parts stand beside it in the decoded structure."""

    name: str
    format: Format
    when: int = 0
    unless: int = 0
    parts: tuple[Part, ...] = ()

    @property
    def names(self) -> list[str]:
        """The names that the field and its parts have in the structure."""
        return [self.name, *(part.name for part in self.parts)]

    def plain(self) -> Field:
        return replace(self, format=self.format.plain(), parts=tuple(part.plain() for part in self.parts))

    def given_in(self, values: dict[str, Any]) -> bool:
        return any(name in values for name in self.names)

    def present(self, flags: int) -> bool:
        return flags & self.when == self.when and not flags & self.unless

    def decode(self, data: bytes) -> dict[str, Value]:
        with _named(self.name):
            value = self.format.decode(data)
        decoded = {self.name: value}
        for part in self.parts:
            with _named(part.name):
                decoded[part.name] = part.decode(_number(value))
        return decoded

    def encode(self, given: dict[str, Any]) -> bytes:
        number = given[self.name] if self.name in given else self.number_of_parts(given)
        with _named(self.name):
            data = self.format.encode(number)
        for part in self.parts:
            if part.name in given:
                self._check_part(part, number, given[part.name])
        return data

    def number_of_parts(self, given: dict[str, Any]) -> int:
        """The number whose parts are those given; bits without a given part are 0."""
        number = 0
        for part in self.parts:
            if part.name in given:
                with _named(part.name):
                    number |= part.encode(given[part.name])
        return number

    def _check_part(self, part: Part, number: Any, wanted: Any) -> None:
        with _named(part.name):
            found = part.decode(_number(number))
            part.encode(wanted)
        if found != wanted:
            raise MalformedValue(
                f"'{part.name}' is {said(wanted)}, but '{self.name}' says {said(found)}",
                advice=f"leave out '{self.name}'; it follows from its parts",
            )


def _number(value: Any) -> int:
    # The builder allows parts only in plain unsigned integers, so the format has made sure of the type.
    return int(value)


@dataclass(eq=False)
class StructFormat(Format):
    """Fields one after the other; the value is a mapping. Fields may share a name when only one is there at a time."""

    items: list[Field]
    kind: Kind = field(default="struct", init=False)
    size: int | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        sizes = [None if item.when or item.unless else item.format.size for item in self.items]
        fixed = [size for size in sizes if size is not None]
        self.size = sum(fixed) if len(fixed) == len(sizes) else None
        self._flags = next((item for item in self.items if item.name == FLAGS), None)
        self._always = self._all_always()

    def _all_always(self) -> dict[str, tuple[Format, int, int]]:
        """By name the format of each field, and where it begins and ends, where that is always the same; else empty."""
        always: dict[str, tuple[Format, int, int]] = {}
        at = 0
        for item in self.items:
            if self.size is None or item.parts or item.format.size is None or item.name in always:
                return {}
            always[item.name] = item.format, at, at + item.format.size
            at += item.format.size
        return always

    def decode(self, data: bytes) -> Value:
        if self._always and len(data) == self.size:
            return {name: _of(name, form.decode, data[at:end]) for name, (form, at, end) in self._always.items()}
        value: dict[str, Value] = {}
        at, last = 0, ""
        for item in self.items:
            if item.present(_number(value.get(FLAGS, 0))):
                end = self._end(item, data, at)
                value.update(item.decode(data[at:end]))
                at, last = end, item.name
        if at < len(data):
            after = f" after '{last}'" if last else ""
            raise MalformedValue(f"{count_bytes(len(data) - at)} left over{after}: {hex_text(data[at:])}")
        return value

    def _end(self, item: Field, data: bytes, at: int) -> int:
        if item.format.size is None:
            return len(data)
        left = len(data) - at
        if left < item.format.size:
            raise MalformedValue(
                f"the value ends within '{item.name}': expected {count_bytes(item.format.size)}, found {left}"
            )
        return at + item.format.size

    def encode(self, value: Any) -> bytes:
        if not isinstance(value, dict):
            raise MalformedValue(f"expected a mapping of fields, found {said(value)}", advice=self._listed())
        if self._always and value.keys() == self._always.keys():
            return b"".join([_of(name, form.encode, value[name]) for name, (form, _, _) in self._always.items()])
        self._check_names(value)
        given = dict(value)
        if self._flags is not None and FLAGS not in given:
            given[FLAGS] = self._derived_flags(self._flags, given)
        return b"".join(self._encoded(given))

    def plain(self) -> StructFormat:
        return StructFormat([item.plain() for item in self.items])

    def describe(self) -> str:
        return "struct of " + ", ".join(dict.fromkeys(item.name for item in self.items))

    def leaves(self) -> dict[str, Format]:
        leaves: dict[str, Format] = {}
        for item in self.items:
            inner = item.format.leaves()
            leaves |= {f"{item.name}.{name}": leaf for name, leaf in inner.items()} or {item.name: item.format}
            leaves |= {part.name: part.format for part in item.parts}
        return leaves

    def fields(self) -> dict[str, str]:
        repeated = {item.name: item.format.fields() for item in self.items if isinstance(item.format, ListFormat)}
        inner = {f"{name}.{field}": unit for name, fields in repeated.items() for field, unit in fields.items()}
        return super().fields() | inner

    def _check_names(self, value: dict[Any, Any]) -> None:
        known = self._names()
        for name in value:
            if name not in known:
                raise MalformedValue(f"no field is named {said(name)}", advice=suggest(str(name)[:80], known))

    def _names(self) -> list[str]:
        return [name for item in self.items for name in item.names]

    def _listed(self) -> str:
        return "fields: " + ", ".join(dict.fromkeys(self._names()))

    def _derived_flags(self, flags: Field, given: dict[str, Any]) -> int:
        """The flags that go with the parts and the fields that are given."""
        number = flags.number_of_parts(given)
        for name in dict.fromkeys(item.name for item in self.items if item.given_in(given)):
            number |= self._choice(name, given).when
        return number

    def _choice(self, name: str, given: dict[str, Any]) -> Field:
        """Of the fields with one name the first that can carry the value, else the last."""
        choices = [item for item in self.items if item.name == name]
        for item in choices[:-1]:
            try:
                item.encode(given)
            except MalformedValue:
                continue
            return item
        return choices[-1]

    def _encoded(self, given: dict[str, Any]) -> Iterator[bytes]:
        flags = 0
        unused = dict.fromkeys(given)
        for item in self.items:
            if not item.present(flags):
                continue
            if not item.given_in(given):
                message = f"the field '{item.name}' is missing{self._flags_said(flags)}"
                raise MalformedValue(message, advice=self._listed())
            yield item.encode(given)
            if item.name == FLAGS:
                flags = _number(given[FLAGS])
            for name in item.names:
                unused.pop(name, None)
        if unused:
            name = next(iter(unused))
            raise MalformedValue(f"the field '{name}' is given, but not there{self._flags_said(flags)}")

    def _flags_said(self, flags: int) -> str:
        return f" with the flags 0x{flags:02X}" if self._flags is not None else ""


@dataclass(eq=False)
class ListFormat(Format):
    """Items of one fixed size: `count` of them, or as many as there are, at least `least`. The unit is that of an
    item."""

    item: Format
    count: int | None = None
    least: int = 0
    kind: Kind = field(default="list", init=False)
    size: int | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        if not self.item.size:
            raise ValueError("a list needs items of a fixed size")
        self._step = self.item.size
        self.unit = self.item.unit
        self.size = None if self.count is None else self.count * self._step

    def decode(self, data: bytes) -> Value:
        count, rest = divmod(len(data), self._step)
        if rest:
            raise MalformedValue(
                f"the value ends within item {count + 1}: expected {count_bytes(self._step)}, found {rest}"
            )
        self._check_count(count)
        return [self.item.decode(data[at : at + self._step]) for at in range(0, len(data), self._step)]

    def encode(self, value: Any) -> bytes:
        if not isinstance(value, (list, tuple)):
            raise MalformedValue(f"expected a list, found {said(value)}")
        self._check_count(len(value))
        return b"".join(self.item.encode(item) for item in value)

    def plain(self) -> ListFormat:
        return ListFormat(self.item.plain(), self.count, self.least)

    def describe(self) -> str:
        return f"list of {self.item.describe()}"

    def fields(self) -> dict[str, str]:
        """Those of an item; the list as a whole has none."""
        return self.item.fields()

    def _check_count(self, count: int) -> None:
        if self.count is not None and count != self.count:
            raise MalformedValue(f"expected {self.count} items, found {count}")
        if count < self.least:
            raise MalformedValue(f"expected at least {self.least} item, found none")


def _of(name: str, work: Callable[[T], U], what: T) -> U:
    """What it makes of the field with this name."""
    try:
        return work(what)
    except MalformedValue as error:
        raise MalformedValue(f"{name}: {error.message}", advice=error.advice) from error


class _named:
    """Puts the name of a field before the message of what is wrong with it."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, MalformedValue):
            raise MalformedValue(f"{self.name}: {error.message}", advice=error.advice) from error
