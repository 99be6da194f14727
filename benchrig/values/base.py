"""What every format can do, and how formats speak of values."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any, Literal, NamedTuple, TypeAlias

from benchrig.errors import MalformedValue
from benchrig.source.problem import counted
from benchrig.values.pattern import Regex
from benchrig.values.quantity import decimal_comma, exact, number_text
from benchrig.values.value import Value

Order: TypeAlias = Literal["little", "big"]
Kind: TypeAlias = Literal["number", "text", "bytes", "boolean", "time", "list", "struct"]

# Beyond this many decimal places no format has a value; larger numbers are refused before they cost time.
_LARGEST_EXPONENT = 400
_SHOWN = 80


class Format(ABC):
    """Turns bytes into a value and back."""

    kind: Kind
    size: int | None  # octets; None when the bytes themselves decide
    unit: str = ""

    @property
    def counts(self) -> int:
        """How many values a counter of this format has before it begins again; 0 for what cannot count."""
        return 0

    @property
    def writes(self) -> bool:
        """Whether a value says which bytes it has."""
        return True

    @property
    def name(self) -> str:
        """What `as` calls it; '' for what has no name: a structure, a list."""
        return ""

    def detail(self) -> str:
        """What its keys say beside name and unit: '× 0.01'."""
        return ""

    @abstractmethod
    def decode(self, data: bytes) -> Value:
        """The value of exactly these bytes. Raises MalformedValue when they do not fit."""

    @abstractmethod
    def encode(self, value: Any) -> bytes:
        """The bytes of a value; Decimal and Fraction are numbers too. Raises MalformedValue when there are none."""

    def describe(self) -> str:
        """The format in a few words: 'sint16 × 0.01 °C'."""
        return " ".join(filter(None, (self.name, self.detail(), self.unit)))

    def plain(self) -> Format:
        """The format of the same bytes without scale, offset, words and range: what a counter counts."""
        return self

    def leaves(self) -> dict[str, Format]:
        """The formats of all fields by their dotted names; empty for a single value."""
        return {}

    def fields(self) -> dict[str, str]:
        """The units of all fields by their dotted names, '' for no unit; empty for a single value."""
        return {name: leaf.unit for name, leaf in self.leaves().items()}


@dataclass(frozen=True)
class Range:
    """The legal values of a number format, ends included; None is no end."""

    low: Fraction | None = None
    high: Fraction | None = None

    def __contains__(self, value: Fraction) -> bool:
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)

    def describe(self, unit: str) -> str:
        if self.high is None:
            return f"from {with_unit(self.low, unit)}"
        if self.low is None:
            return f"up to {with_unit(self.high, unit)}"
        return f"{number_text(self.low)} to {with_unit(self.high, unit)}"


ANY = Range()


@dataclass(frozen=True)
class Keys:
    """What stands beside `as`, as formats take it."""

    unit: str = ""
    order: Order = "little"
    length: int | None = None
    valid: Range = ANY
    part: Regex | None = None


RANGE_KEYS = frozenset({"unit", "order", "valid_min", "valid_max"})


class Named(NamedTuple):
    """A name that `as` takes: the keys that may stand beside it, and the format that it stands for."""

    keys: frozenset[str]
    make: Callable[[Keys], Format]


def exact_number(value: Any, expected: str) -> Fraction:
    """The number without rounding; MalformedValue for what is no finite number of a sensible size."""
    if type(value) is Fraction:
        return value
    if misfit := decimal_comma(value):
        raise MalformedValue(misfit.message, advice=misfit.advice)
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal, Fraction)):
        raise MalformedValue(f"expected {expected}, found {said(value)}")
    if not _is_finite(value):
        raise MalformedValue(f"expected {expected}, found {value}")
    if isinstance(value, Decimal) and value and abs(value.adjusted()) > _LARGEST_EXPONENT:
        raise MalformedValue(f"expected {expected}, found {value}, which no format can carry")
    return exact(value)


def _is_finite(value: float | Decimal | Fraction) -> bool:
    return value.is_finite() if isinstance(value, Decimal) else not isinstance(value, float) or math.isfinite(value)


def flat(value: dict[str, Any], prefix: str = "") -> dict[str, Any]:
    """The fields of a decoded structure, and of structures in it, by their dotted names."""
    fields: dict[str, Any] = {}
    for name, item in value.items():
        fields |= flat(item, f"{prefix}{name}.") if isinstance(item, dict) else {f"{prefix}{name}": item}
    return fields


def check_size(data: bytes, size: int, what: str) -> None:
    if len(data) != size:
        raise MalformedValue(f"{what} has {count_bytes(size)}, found {count_bytes(len(data))}{_listed(data)}")


def _listed(data: bytes) -> str:
    return f": {hex_text(data)}" if data else ""


def count_bytes(count: int) -> str:
    return counted(count, "byte")


def hex_text(data: bytes) -> str:
    """Upper-case hex for a sentence, bounded in length."""
    return data[:20].hex(" ").upper() + (" …" if len(data) > 20 else "")


def with_unit(number: Any, unit: str) -> str:
    return f"{said(number)} {unit}" if unit else said(number)


def said(value: Any) -> str:
    """A value of any type for a sentence, bounded in length."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (list, tuple)):
        return "a list"
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, (bytes, bytearray)):
        return f"the bytes {hex_text(bytes(value))}" if value else "no bytes"
    if isinstance(value, (int, float, Decimal, Fraction)):
        return _number_said(value)
    text = repr(str(value)) if isinstance(value, str) else type(value).__name__
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"


def _number_said(value: int | float | Decimal | Fraction) -> str:
    if not _is_finite(value):
        return str(value)
    if not -(10**40) < value < 10**40:
        return f"{value:.6g}" if isinstance(value, (float, Decimal)) else "a number of more than 40 digits"
    return number_text(value)
