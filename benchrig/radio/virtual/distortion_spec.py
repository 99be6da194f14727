"""What a device makes of its values on their way out: faults of firmware that packs them wrongly.

distorted: {how: swapped bytes}                    every value that is read or sent, also one that was written
distorted: {field: temperature, times: 10}         a field of a structure
distorted: {field: temperature, times: 1.8, plus: 3200}     the number as it is sent
distorted: {field: flags, inverted: 0x01}          bits
distorted: {field: supply, octets: 'FF FF'}        these bytes in place of those
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from typing import ClassVar, Literal, TypeAlias

import msgspec

from benchrig.errors import MalformedValue
from benchrig.radio.virtual.words import Hex
from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit
from benchrig.values.base import Format, exact_number
from benchrig.values.medfloat import MedFloatFormat
from benchrig.values.numbers import FloatFormat, IntegerFormat
from benchrig.values.spec import Exact
from benchrig.values.structs import FLAGS, StructFormat

How: TypeAlias = Literal["swapped bytes", "moved by a byte", "a byte short", "a byte long", "empty"]
_WAYS: dict[How, Callable[[bytes, int, int], bytes]] = {
    "swapped bytes": lambda value, start, end: value[:start] + value[start:end][::-1] + value[end:],
    "moved by a byte": lambda value, start, end: value[:start] + b"\0" + value[start:-1] if value else value,
    "a byte short": lambda value, start, end: value[:-1],
    "a byte long": lambda value, start, end: value + b"\0",
    "empty": lambda value, start, end: b"",
}
_OF_THE_WHOLE = ("a byte short", "a byte long", "empty")
_NUMBERS = (IntegerFormat, FloatFormat, MedFloatFormat)


class DistortionSpec(msgspec.Struct, kw_only=True, frozen=True):
    """One way of distorting each value."""

    direct: ClassVar[str] = "how"

    field: str = ""
    how: How | None = None
    times: Exact | None = None
    plus: Exact | None = None
    inverted: int | None = None
    octets: Hex | None = None

    def misfits(self) -> Iterable[Misfit]:
        number = self.times is not None or self.plus is not None
        given = [self.how is not None, number, self.inverted is not None, self.octets is not None]
        if sum(given) != 1:
            advice = "write one of 'how', 'inverted', 'octets', or 'times' and 'plus'"
            yield Misfit("a value is distorted in one way", advice)
        if self.field and self.how in _OF_THE_WHOLE:
            yield Misfit(f"'{self.how}' is about the whole value", "leave 'field' out", ("field",))
        if self.inverted is not None and self.inverted < 1:
            yield Misfit("expected the bits to invert, for example 0x01", path=("inverted",))

    def misfits_of(self, form: Format | None) -> Iterable[Misfit]:
        """What is wrong for values of this format."""
        leaf = form
        if self.field:
            names = _names(form)
            if self.field not in names:
                yield Misfit(f"this value has no field '{self.field}'", suggest(self.field, names), ("field",))
                return
            leaf = names[self.field]
        if (self.times is not None or self.plus is not None) and not isinstance(leaf, _NUMBERS):
            advice = "write 'field' with one" if isinstance(form, StructFormat) else "write 'octets'"
            yield Misfit("only a number can be multiplied", advice, ("times" if self.times is not None else "plus",))

    def apply(self, value: bytes, form: Format | None) -> bytes:
        """What leaves the device in place of this value. A value without the field is left as it is."""
        found = self._span(value, form)
        if found is None:
            return value
        start, end, leaf = found
        if self.how is not None:
            return _WAYS[self.how](value, start, end)
        return value[:start] + self._part(value[start:end], leaf) + value[end:]

    def _span(self, value: bytes, form: Format | None) -> tuple[int, int, Format | None] | None:
        """Where it is in these octets, and its format."""
        if not self.field:
            return 0, len(value), form
        spans = spans_of(value, form) if isinstance(form, StructFormat) else iter(())
        return next(((start, end, leaf) for name, start, end, leaf in spans if name == self.field), None)

    def _part(self, part: bytes, leaf: Format | None) -> bytes:
        if self.octets is not None:
            return bytes(self.octets)
        if self.inverted is not None:
            number = int.from_bytes(part, "little") ^ self.inverted
            return (number & ((1 << 8 * len(part)) - 1)).to_bytes(len(part), "little")
        assert leaf is not None
        return self._number(part, leaf)

    def _number(self, part: bytes, leaf: Format) -> bytes:
        """Whole numbers keep the bits that they have, as a processor's do; a float stays where it cannot carry more."""
        times, plus = Fraction(1) if self.times is None else self.times, self.plus or 0
        try:
            if isinstance(leaf, IntegerFormat):
                plain = leaf.plain()
                number = round(exact_number(plain.decode(part), "a number") * times + plus)
                return (number & ((1 << leaf.bits) - 1)).to_bytes(plain.size, leaf.order)
            decoded = exact_number(leaf.decode(part), "a number")
            return leaf.encode(_carried(decoded * times + plus))
        except MalformedValue:
            return part


def _carried(number: Fraction) -> Fraction:
    """With the digits that a medical float of 16 bits has."""
    digits = 3 - len(str(abs(int(number))))
    return round(number, max(0, digits))


def _names(form: Format | None) -> dict[str, Format]:
    """The fields that are octets of their own, by dotted names."""
    if not isinstance(form, StructFormat):
        return {}
    found: dict[str, Format] = {}
    for item in form.items:
        inner = _names(item.format)
        found |= {f"{item.name}.{name}": leaf for name, leaf in inner.items()} or {item.name: item.format}
    return found


def spans_of(value: bytes, form: StructFormat, at: int = 0, prefix: str = "") -> Iterator[tuple[str, int, int, Format]]:
    """The fields that these octets have, each with where it begins and ends; in what is too short those before."""
    flags = 0
    for item in form.items:
        if not item.present(flags):
            continue
        end = len(value) if item.format.size is None else at + item.format.size
        if end > len(value):
            return
        if isinstance(item.format, StructFormat):
            yield from spans_of(value[:end], item.format, at, f"{prefix}{item.name}.")
        else:
            yield f"{prefix}{item.name}", at, end, item.format
        if item.name == FLAGS:
            flags = int.from_bytes(value[at:end], "little")
        at = end
