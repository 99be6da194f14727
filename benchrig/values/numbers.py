"""Integers with scale, offset, words and a valid range; IEEE 754 floats; booleans."""

from __future__ import annotations

import math
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import Any

from benchrig.errors import MalformedValue
from benchrig.values.base import (
    ANY,
    RANGE_KEYS,
    Format,
    Keys,
    Kind,
    Named,
    Order,
    Range,
    check_size,
    exact_number,
    said,
    with_unit,
)
from benchrig.values.quantity import decimal_comma, exact, number_text
from benchrig.values.value import Value, Word

_LONG_DECIMAL = 8
NAN, PLUS_INF, MINUS_INF = "NaN", "+INF", "-INF"


@dataclass(eq=False)
class IntegerFormat(Format):
    """A whole number of `bits` bits: value = raw × scale + offset.

    An integral scale gives an int, any other the float nearest to the exact value. A raw number in `words` is that
    word, whatever the range says. Octets that `bits` does not fill must be padded with 0.
    """

    bits: int
    signed: bool = False
    order: Order = "little"
    scale: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)
    unit: str = ""
    valid: Range = ANY
    words: dict[int, str] = field(default_factory=dict)
    only_words: bool = False
    rfu: int = 0

    def __post_init__(self) -> None:
        self.size: int = (self.bits + 7) // 8
        self.lowest = -(1 << (self.bits - 1)) if self.signed else 0
        self.highest = (1 << (self.bits - self.signed)) - 1
        self.kind: Kind = "text" if self.only_words else "number"
        self.words = {self._as_signed(raw): word for raw, word in self.words.items()}
        # value = (raw × factor + shift) / divisor, in whole numbers: a fraction for every sample would cost too much
        self._divisor = math.lcm(self.scale.denominator, self.offset.denominator)
        self._factor, self._shift = int(self.scale * self._divisor), int(self.offset * self._divisor)
        low, high = self.valid.low, self.valid.high
        self._least = -math.inf if low is None else math.ceil(low * self._divisor)
        self._most = math.inf if high is None else math.floor(high * self._divisor)
        self._raw_of_word = {word: raw for raw, word in reversed(self.words.items())}

    @property
    def counts(self) -> int:
        return 1 << self.bits

    @property
    def name(self) -> str:
        return f"{'sint' if self.signed else 'uint'}{self.bits}"

    @property
    def legal(self) -> tuple[Fraction, Fraction]:
        """The lowest and the highest value, scaled, that it can carry and may have."""
        low, high = sorted(raw * self.scale + self.offset for raw in (self.lowest, self.highest))
        least, most = self.valid.low, self.valid.high
        low = low if least is None else max(low, Fraction(least))
        return low, high if most is None else min(high, Fraction(most))

    def decode(self, data: bytes) -> Value:
        if len(data) != self.size:
            check_size(data, self.size, f"a {self.name}")
        pattern = int.from_bytes(data, self.order)
        if pattern >> self.bits:
            raise MalformedValue(f"bits above the lowest {self.bits} are set in 0x{pattern:0{2 * self.size}X}")
        return self.value_of(pattern)

    def value_of(self, pattern: int) -> Value:
        """The value of a bit pattern, 0 to 2**bits - 1."""
        raw = self._as_signed(pattern)
        if raw in self.words:
            return Word(self.words[raw])
        self._check(raw)
        return self._scaled(raw)

    def encode(self, value: Any) -> bytes:
        return self.pattern_of(value).to_bytes(self.size, self.order)

    def pattern_of(self, value: Any) -> int:
        """The bit pattern of a value."""
        raw = self._raw_of(value)
        if not self.lowest <= raw <= self.highest:
            lowest, highest = with_unit(self._scaled(self.lowest), ""), with_unit(self._scaled(self.highest), self.unit)
            raise MalformedValue(f"{with_unit(value, self.unit)} does not fit a {self.name}: {lowest} to {highest}")
        if raw not in self.words:
            self._check(raw)
        return raw & ((1 << self.bits) - 1)

    def plain(self) -> IntegerFormat:
        return IntegerFormat(self.bits, self.signed, self.order)

    def detail(self) -> str:
        scale = "" if self.scale == 1 else f"× {_fraction_text(self.scale)}"
        offset = "" if self.offset == 0 else f"{'-' if self.offset < 0 else '+'} {_fraction_text(abs(self.offset))}"
        return " ".join(filter(None, (scale, offset)))

    def _as_signed(self, pattern: int) -> int:
        return pattern - (1 << self.bits) if self.signed and pattern > self.highest else pattern

    def _scaled(self, raw: int) -> int | float:
        dividend = raw * self._factor + self._shift
        return dividend if self._divisor == 1 else dividend / self._divisor

    def _check(self, raw: int) -> None:
        """Refuse a raw number that has no word and is prohibited or reserved."""
        if self.only_words:
            raise MalformedValue(
                f"{self._hex(raw)} is reserved", advice=f"write an assigned value: {self._words_listed()}"
            )
        if raw & self.rfu:
            bits = f"0x{self.rfu:0{2 * self.size}X}"
            raise MalformedValue(f"reserved bits are set in {self._hex(raw)}; {bits} must be 0")
        if not self._least <= raw * self._factor + self._shift <= self._most:
            value, legal = with_unit(self._scaled(raw), self.unit), self.valid.describe(self.unit)
            raise MalformedValue(f"{value} ({self._hex(raw)}) is outside the valid range {legal}")

    def _hex(self, raw: int) -> str:
        return f"0x{raw & ((1 << self.bits) - 1):0{2 * self.size}X}"

    def _raw_of(self, value: Any) -> int:
        if isinstance(value, str):
            if value not in self._raw_of_word:
                if misfit := decimal_comma(value):
                    raise MalformedValue(misfit.message, advice=misfit.advice)
                advice = f"words of this format: {self._words_listed()}" if self.words else ""
                raise MalformedValue(f"expected {self._expected}, found {said(value)}", advice=advice)
            return self._raw_of_word[value]
        number = exact_number(value, self._expected)
        dividend, divisor = number.numerator * self._divisor, number.denominator
        whole, rest = divmod(dividend - self._shift * divisor, self._factor * divisor)
        if not rest and not isinstance(value, float):
            return whole
        exact = Fraction(dividend - self._shift * divisor, self._factor * divisor)
        raw = round(exact)
        nearest = min(max(raw, self.lowest), self.highest)
        # A float that this format decodes to is carried, even where it is only near the exact value.
        if isinstance(value, float) and self._scaled(nearest) == value:
            return nearest
        if exact != raw:
            raise MalformedValue(
                f"{with_unit(value, self.unit)} cannot be carried in steps of {_fraction_text(abs(self.scale))}",
                advice=f"write the nearest, {with_unit(self._scaled(nearest), self.unit)}",
            )
        return raw

    @cached_property
    def _expected(self) -> str:
        """What a value must be; worked out once, as most values are."""
        number = f"a number ({self.describe()})"
        return "one of the words" if self.only_words else number + (" or one of its words" if self.words else "")

    def _words_listed(self) -> str:
        words = [f"{raw} {word}" for raw, word in self.words.items()]
        return ", ".join(words[:12]) + (", …" if len(words) > 12 else "")


def _fraction_text(number: Fraction) -> str:
    """'0.01' where a short decimal says it exactly, else '1/1024'."""
    text = number_text(number)
    return text if len(text) < _LONG_DECIMAL and Fraction(text) == number else str(number)


@dataclass(eq=False)
class FloatFormat(Format):
    """An IEEE 754 float of 32 or 64 bits. Encoding takes the nearest one; NaN and the infinities are words."""

    bits: int
    order: Order = "little"
    unit: str = ""
    valid: Range = ANY

    def __post_init__(self) -> None:
        self.size: int = self.bits // 8
        self.kind: Kind = "number"
        self._codec = struct.Struct(("<" if self.order == "little" else ">") + ("f" if self.bits == 32 else "d"))

    def decode(self, data: bytes) -> Value:
        check_size(data, self.size, f"a float{self.bits}")
        number: float = self._codec.unpack(data)[0]
        if math.isnan(number):
            return Word(NAN)
        if math.isinf(number):
            return Word(PLUS_INF if number > 0 else MINUS_INF)
        number = number if self.bits == 64 else self._shortest(number, data)
        self._check(number)
        return number

    def _shortest(self, number: float, data: bytes) -> float:
        """The number with the fewest digits that is this float of 32 bits: 0.1, not 0.10000000149011612. A limit of 0.1
        means that very float."""
        texts = (f"{number:.{digits}g}" for digits in range(6, 10))
        return next((short for text in texts if self._packed(short := float(text)) == data), number)

    def _packed(self, number: float) -> bytes:
        try:
            return self._codec.pack(number)
        except OverflowError:  # rounded up beyond the largest of them
            return b""

    def encode(self, value: Any) -> bytes:
        words = {NAN: math.nan, PLUS_INF: math.inf, MINUS_INF: -math.inf}
        if isinstance(value, str) and value in words:
            return self._codec.pack(words[value])
        exact = exact_number(value, f"a number, {NAN}, {PLUS_INF} or {MINUS_INF}")
        try:
            data = self._codec.pack(value if isinstance(value, float) else exact.numerator / exact.denominator)
        except OverflowError:
            raise MalformedValue(f"{said(value)} does not fit a float{self.bits}") from None
        self.decode(data)
        return data

    @property
    def name(self) -> str:
        return f"float{self.bits}"

    def _check(self, number: float) -> None:
        # the number as people write it: 0.1 is within a range that ends at 0.1
        if exact(number) not in self.valid:
            value = with_unit(number, self.unit)
            raise MalformedValue(f"{value} is outside the valid range {self.valid.describe(self.unit)}")


class BooleanFormat(Format):
    """One octet, or one bit of a flags field: 0 is false and 1 is true."""

    kind: Kind = "boolean"
    size = 1

    def decode(self, data: bytes) -> Value:
        check_size(data, 1, "a boolean")
        return self.value_of(data[0])

    def value_of(self, pattern: int) -> Value:
        if pattern > 1:
            raise MalformedValue(f"0x{pattern:02X} is not a boolean: 0 is false, 1 is true")
        return pattern == 1

    def encode(self, value: Any) -> bytes:
        return bytes([self.pattern_of(value)])

    def pattern_of(self, value: Any) -> int:
        if not isinstance(value, bool):
            raise MalformedValue(f"expected true or false, found {said(value)}")
        return int(value)

    @property
    def name(self) -> str:
        return "boolean"


def _float(bits: int) -> Callable[[Keys], Format]:
    return lambda keys: FloatFormat(bits, keys.order, keys.unit, keys.valid)


NAMED = {"boolean": Named(frozenset(), lambda keys: BooleanFormat())} | {
    f"float{bits}": Named(RANGE_KEYS, _float(bits)) for bits in (32, 64)
}
