"""IEEE 11073-20601 floats: value = mantissa · 10^exponent, both two's complement.

medfloat16 (SFLOAT) has 4 bits of exponent and 12 of mantissa, medfloat32 (FLOAT) 8 and 24. The special values are
whole words with exponent 0 (HL7 Personal Health Device guide, "MderFLOATs and SFLOATs").
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
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
from benchrig.values.numbers import MINUS_INF, NAN, PLUS_INF
from benchrig.values.quantity import as_number
from benchrig.values.value import Value, Word

NRES = "NRes"
# From here on an int has more digits than a mantissa can say.
_LARGEST_INT = 10**15


@dataclass(eq=False)
class MedFloatFormat(Format):
    """A medical float. Whole numbers decode to an int, others to the nearest float. How many digits the sender
    claims (2, 2.0) is not part of the value: encoding takes the exponent nearest to 0 that is exact."""

    bits: int
    unit: str = ""
    valid: Range = ANY
    order: Order = "little"

    def __post_init__(self) -> None:
        self.size: int = self.bits // 8
        self.kind: Kind = "number"
        self._mantissa_bits, self._exponent_bits = (12, 4) if self.bits == 16 else (24, 8)
        self._top = 1 << (self._mantissa_bits - 1)
        self._reserved = self._top + 1
        self._words = {self._top - 1: NAN, self._top: NRES, self._top - 2: PLUS_INF, self._top + 2: MINUS_INF}

    def decode(self, data: bytes) -> Value:
        check_size(data, self.size, f"a medfloat{self.bits}")
        pattern = int.from_bytes(data, self.order)
        if pattern in self._words:
            return Word(self._words[pattern])
        if pattern == self._reserved:
            raise MalformedValue(f"0x{pattern:0{2 * self.size}X} is reserved")
        mantissa = _signed(pattern & ((1 << self._mantissa_bits) - 1), self._mantissa_bits)
        exponent = _signed(pattern >> self._mantissa_bits, self._exponent_bits)
        exact = mantissa * Fraction(10) ** exponent
        self._check(exact)
        return as_number(exact) if abs(exact) < _LARGEST_INT else exact.numerator / exact.denominator

    def encode(self, value: Any) -> bytes:
        if isinstance(value, str):
            return self._pack(self._pattern_of_word(value))
        exact = exact_number(value, f"a number ({self.describe()})")
        self._check(exact)
        for exponent in self._exponents(exact):
            mantissa = exact / Fraction(10) ** exponent
            if mantissa.denominator == 1 and self._carries(mantissa.numerator, exponent):
                return self._pack(_pattern(exponent, self._exponent_bits) << self._mantissa_bits
                                  | _pattern(mantissa.numerator, self._mantissa_bits))  # fmt: skip
        shown = with_unit(value, self.unit)
        raise MalformedValue(f"{shown} is not exact within the precision of a medfloat{self.bits}")

    @property
    def name(self) -> str:
        return f"medfloat{self.bits}"

    def _exponents(self, number: Fraction) -> range:
        """Exponents worth trying, the nearest to 0 first: upwards for a whole number, else downwards."""
        end = 1 << (self._exponent_bits - 1)
        return range(end) if number.denominator == 1 else range(-1, -end - 1, -1)

    def _carries(self, mantissa: int, exponent: int) -> bool:
        if exponent == 0:
            return abs(mantissa) <= self._top - 3
        return -self._top <= mantissa < self._top

    def _pattern_of_word(self, word: str) -> int:
        for pattern, known in self._words.items():
            if word == known:
                return pattern
        raise MalformedValue(f"expected a number or one of {', '.join(self._words.values())}, found {said(word)}")

    def _pack(self, pattern: int) -> bytes:
        return pattern.to_bytes(self.size, self.order)

    def _check(self, number: Fraction) -> None:
        if number not in self.valid:
            value = with_unit(number, self.unit)
            raise MalformedValue(f"{value} is outside the valid range {self.valid.describe(self.unit)}")


def _float(bits: int) -> Callable[[Keys], Format]:
    return lambda keys: MedFloatFormat(bits, keys.unit, keys.valid, keys.order)


NAMED = {f"medfloat{bits}": Named(RANGE_KEYS, _float(bits)) for bits in (16, 32)}


def _signed(pattern: int, bits: int) -> int:
    return pattern - (1 << bits) if pattern >> (bits - 1) else pattern


def _pattern(number: int, bits: int) -> int:
    return number & ((1 << bits) - 1)
