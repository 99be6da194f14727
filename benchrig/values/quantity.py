"""Numbers with units, exact, and checked for dimension."""

from __future__ import annotations

import math
import re
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, ClassVar, Self

from benchrig.source.shape import Misfit, describe_value
from benchrig.source.writing import decimal_text
from benchrig.values.dimensions import combined
from benchrig.values.units import BASE, DIFFERENCE, LEVELS, UNITS, Unit, symbols_of, unit_named

_QUANTITY = re.compile(r"([+-]?[0-9]{1,40}(?:\.[0-9]{1,40})?)[ \u00a0]?([^0-9\s].*|1/min)")

_NUMBER = re.compile(r"[+-]?[0-9]{1,40}(?:\.[0-9]{1,40})?(?![0-9])")
_COMMA = re.compile(r"([+-]?[0-9][0-9.]*),([0-9][0-9.,]*)(.*)")
# As people write a time of several units.
_HOURS = re.compile(r"([0-9]{1,6}) ?h ?([0-9]{1,6}) ?(?:m|min)?")
_CLOCK = re.compile(r"([0-9]{1,6}):([0-9]{2})")

# Symbols that are taken for others: where this dimension is due, the unit with this symbol is meant by that one.
_MEANT = {("time", "m"): "min", ("level", "dB"): "dBm", ("gain", "dBm"): "dB"}


def decimal_comma(value: Any) -> Misfit | None:
    """What is wrong with a number that is written with a comma; None for anything else."""
    match = _COMMA.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        return None
    whole, rest, unit = match.groups()
    plain = f": {whole}.{rest}{unit}" if (whole + rest).lstrip("+-").isdigit() else ", and no other marks"
    return Misfit(f"'{value.strip()}' has a comma in its number", f"write a decimal point{plain}")


def is_number(value: Any) -> bool:
    """Whether it is a number with a place among the others: no truth value, no infinity, not 'not a number'."""
    if type(value) is int:
        return True
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, Decimal):
        return value.is_finite()
    return isinstance(value, (int, Fraction)) and not isinstance(value, bool)


def as_float(value: Any) -> float | None:
    """A number as a finite float; None for what is none, and for one beyond all floats."""
    if not is_number(value):
        return None
    try:
        return float(value)
    except OverflowError:
        return None


def exact(number: float | Decimal | Fraction) -> Fraction:
    """The number as people wrote it: a float stands for its shortest decimal, so 0.1 is one tenth."""
    if type(number) is Fraction:
        return number
    return Fraction(Decimal(repr(number)) if isinstance(number, float) else number)


def as_number(value: Fraction) -> int | float:
    """An int where it is one, else the nearest float; beyond all floats the nearest int."""
    if value.denominator == 1:
        return value.numerator
    try:
        return value.numerator / value.denominator
    except OverflowError:
        return round(value)


def rounded(number: Fraction, digits: int = 0) -> Fraction:
    """With so many digits after the point; a half goes away from zero."""
    scaled = abs(number) * 10**digits
    whole = Fraction(math.floor(scaled + Fraction(1, 2)), 10**digits)
    return -whole if number < 0 else whole


def _divisor(number: Fraction, written: Any) -> Fraction:
    if not number:
        raise Misfit(f"a division by {written}")
    return number


def number_text(value: float | Decimal | Fraction) -> str:
    """A number for people: no exponent for ordinary sizes, no digits that are not there, a real minus kept ASCII."""
    number = as_number(value) if isinstance(value, Fraction) else value
    if isinstance(number, float) and math.isfinite(number):
        if number == int(number) and abs(number) < 1e15:
            return str(int(number))
        text = repr(number)
        return text if len(text) <= 10 else f"{number:.6g}"
    return str(number)


class Quantity:
    """An exact number with a unit. (No dataclass: msgspec would look inside one instead of using `source_schema`.)

    `+`, `-` and order take a quantity of the same dimension, `*` and `/` numbers and quantities whose product or quotient
    some unit measures; per cent in these is a part. Levels differ by a gain, temperatures by a temperature difference (a
    value in K is one beside °C). Misfit for what makes no sense."""

    __slots__ = ("number", "unit")
    dimension: ClassVar[str] = ""
    sample: ClassVar[int] = 5
    source_schema: ClassVar[dict[str, Any]] = {
        "type": "string",
        "pattern": r"^([+-]?[0-9]+(\.[0-9]+)? ?[^0-9\s].*|.*\$\{.*)$",
    }

    def __init__(self, number: str | float | Decimal | Fraction, unit: Unit | str = "") -> None:
        """A number and its unit, or both as text: '20 %'."""
        if isinstance(number, str):
            read: Quantity = self.from_source(f"{number} {unit}".strip())
            number, unit = read.number, read.unit
        self.number: Fraction = number if isinstance(number, Fraction) else exact(number)
        self.unit: Unit = unit if isinstance(unit, Unit) else unit_named(unit)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.number, self.unit.symbol)

    def __eq__(self, other: object) -> bool:
        """A number without a unit, or with one of another dimension, is no answer but a mistake: `!=` would always be true."""
        if isinstance(other, Quantity):
            if other.unit.dimension != self.unit.dimension:
                raise self._unlike(other)
            return self.base == other.base
        if isinstance(other, (int, float, Decimal, Fraction)) and not isinstance(other, bool):
            self._with_unit(other)
        return False

    def __hash__(self) -> int:
        return hash((self.unit.dimension, self.base))

    def __lt__(self, other: Quantity) -> bool:
        return self.number < self._alike(other)

    def __le__(self, other: Quantity) -> bool:
        return self.number <= self._alike(other)

    def __gt__(self, other: Quantity) -> bool:
        return self.number > self._alike(other)

    def __ge__(self, other: Quantity) -> bool:
        return self.number >= self._alike(other)

    def __add__(self, other: Quantity) -> Quantity:
        kinds = self.unit.dimension, self._with_unit(other).unit.dimension
        if kinds[0] == kinds[1] and kinds[0] in LEVELS:
            raise Misfit(f"{self} and {other} are levels, which have no sum", "add a difference in dB")
        if other.has_zero and not self.has_zero and self._differs_like(other):
            return other + self
        return Quantity(self.number + self._difference(other), self.unit)

    def __sub__(self, other: Quantity) -> Quantity:
        if not self._with_unit(other).has_zero:
            return Quantity(self.number - self._difference(other), self.unit)
        if not self._is_like(other) and not self._differs_like(other):
            raise self._unlike(other)
        if self.unit.dimension != other.unit.dimension or not self.has_zero:
            raise Misfit(
                f"{other} cannot be taken from {self}", "they differ in kind: one is a value, the other a difference"
            )
        unit = BASE[DIFFERENCE[self.unit.dimension]]
        return Quantity((self.base - other.base) / unit.factor, unit)

    def __mul__(self, other: Any) -> Any:
        if is_number(other):
            return Quantity(self.number * exact(other), self.unit)
        return self._product(other, 1) if isinstance(other, Quantity) else NotImplemented

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Any:
        if is_number(other):
            return Quantity(self.number / _divisor(exact(other), other), self.unit)
        if not isinstance(other, Quantity):
            return NotImplemented
        return self._ratio(other) if self._is_like(other) else self._product(other, -1)

    def __rtruediv__(self, other: Any) -> Any:
        if not is_number(other):
            return NotImplemented
        return (
            exact(other) / _divisor(self.base, self) if self.is_part else self._combined(exact(other), None, self, -1)
        )

    def __neg__(self) -> Quantity:
        return Quantity(-self.number, self.unit)

    def __pos__(self) -> Quantity:
        return self

    def __abs__(self) -> Quantity:
        return Quantity(abs(self.number), self.unit)

    def __round__(self, digits: int = 0) -> Quantity:
        return Quantity(rounded(self.number, digits), self.unit)

    @property
    def base(self) -> Fraction:
        """The number in the base unit of the dimension."""
        return (self.number + self.unit.offset) * self.unit.factor

    @property
    def has_zero(self) -> bool:
        """Whether its scale has a zero of its own, so that two of them differ by something else: °C, dBm; not K."""
        return self.unit.dimension in LEVELS or (self.unit.dimension == "temperature" and self.unit.symbol != "K")

    @property
    def is_part(self) -> bool:
        """Whether it is a part of something: per cent."""
        return self.unit.dimension == "ratio"

    def _is_like(self, other: Quantity) -> bool:
        return other.unit.dimension == self.unit.dimension or {other.unit.symbol, self.unit.symbol} == {"K", "ΔK"}

    def _with_unit(self, other: Any) -> Quantity:
        if not isinstance(other, Quantity):
            raise Misfit(f"{other!r} has no unit, {self} has one", f"write Quantity('{other} {self.unit}')")
        return other

    def _alike(self, other: Any) -> Fraction:
        """The number of another one in this unit."""
        try:
            return self._with_unit(other).to(self.unit.symbol)
        except Misfit:
            if not isinstance(other, Quantity):
                raise
            raise self._unlike(other) from None

    def _unlike(self, other: Quantity) -> Misfit:
        return Misfit(f"{self} is a {self.unit.dimension}, {other} a {other.unit.dimension}")

    def _differs_like(self, other: Quantity) -> bool:
        """Whether this is a difference between two like the other one."""
        symbol = self.unit.symbol
        return self.unit.dimension == DIFFERENCE[other.unit.dimension] or (symbol == "K" and "°" in other.unit.symbol)

    def _difference(self, other: Quantity) -> Fraction:
        """Another one as a difference in this unit. Of °C and °F nobody can tell whether it is one."""
        if other.has_zero and other.unit is not self.unit and self.unit.dimension == other.unit.dimension:
            raise Misfit(
                f"{self} and {other}: a value looks like a difference", "convert one of them to the other's unit"
            )
        if self.is_part != other.is_part:
            part, whole = (self, other) if self.is_part else (other, self)
            raise Misfit(
                f"{self} is a {self.unit.dimension}, {other} a {other.unit.dimension}",
                f"write a part as a product: {part} * {whole}",
            )
        return other.difference_to(self.unit.symbol)

    def _ratio(self, other: Quantity) -> Fraction:
        """One of two that are alike as a multiple of the other."""
        if (self.has_zero or other.has_zero) and (self.unit is not other.unit or self.unit.dimension in LEVELS):
            raise Misfit(f"{self} and {other} have no ratio", "subtract one from the other")
        return self.number / _divisor(other.to(self.unit.symbol), other)

    def _product(self, other: Quantity, power: int) -> Any:
        """The product with one of another dimension, or the quotient."""
        if other.is_part:
            part = other.base if power == 1 else 1 / _divisor(other.base, other)
            return Quantity(self.number * part, self.unit)
        if self.is_part and power == 1:
            return Quantity(other.number * self.base, other.unit)
        number, one = (self.base, None) if self.is_part else (self.number, self)
        return self._combined(number, one, other, power)

    def _combined(self, number: Fraction, one: Quantity | None, other: Quantity, power: int) -> Any:
        found = combined(one.unit if one else None, other.unit, power)
        if found is None:
            units = f"{one.unit if one else 1} {'*' if power == 1 else '/'} {other.unit}"
            raise Misfit(f"no unit measures {units}", "keep to units whose product or quotient has a name")
        factor, unit = found
        number *= (other.number if power == 1 else 1 / _divisor(other.number, other)) * factor
        return Quantity(number, unit) if unit else number

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self})"

    @classmethod
    def from_source(cls, value: Any) -> Self:
        """Read `'250 ms'`, or take a quantity. Raises Misfit for a bare number, an unknown unit, and a dimension that is
        not the class's."""
        if isinstance(value, Quantity):
            return cls._checked(cls(value.number, value.unit), value)
        match = _QUANTITY.fullmatch(value.strip()) if isinstance(value, str) else None
        if misfit := decimal_comma(value):
            raise misfit
        if match is None:
            raise Misfit(f"expected {cls._expected()}, found {describe_value(value)}", cls._example(value))
        return cls._checked(cls(_fraction(match[1]), unit_named(match[2].strip())), value)

    @classmethod
    def _checked(cls, quantity: Self, value: Any) -> Self:
        if cls.dimension and quantity.unit.dimension != cls.dimension:
            raise Misfit(
                f"expected {cls._expected()}, found a {quantity.unit.dimension} ({value})", cls._example(value)
            )
        return quantity

    @classmethod
    def _expected(cls) -> str:
        return f"a {cls.dimension} with its unit" if cls.dimension else "a number with its unit"

    @classmethod
    def _example(cls, value: Any) -> str:
        """The number that was written, with a unit that fits: perhaps the one that was meant."""
        if isinstance(value, str) and (match := _QUANTITY.fullmatch(value.strip())):
            meant = _MEANT.get((cls.dimension, match[2]))
            if meant:
                return f"did you mean '{match[1]} {meant}'?"
        written = _NUMBER.match(str(value).strip())
        base = BASE[cls.dimension] if cls.dimension else UNITS["ms"]
        return f"for example: {written[0] if written else cls.sample} {base}"

    def to(self, symbol: str) -> Fraction:
        """The number in another unit of the same dimension; Misfit when the dimensions differ. K is ΔK too."""
        unit = unit_named(symbol)
        if unit.dimension != self.unit.dimension and {unit.symbol, self.unit.symbol} != {"K", "ΔK"}:
            raise Misfit(
                f"{self} is a {self.unit.dimension}, not a {unit.dimension}",
                _units_for(unit.dimension, self.unit, unit),
            )
        if unit is self.unit or unit.dimension != self.unit.dimension:
            return self.number
        return (self.number + self.unit.offset) * self.unit.factor / unit.factor - unit.offset

    def difference_to(self, symbol: str) -> Fraction:
        """The number as a difference between two values in unit `symbol`: 1 K is 1 °C, 3 dB between dBm."""
        unit = unit_named(symbol)
        between = DIFFERENCE.get(unit.dimension, unit.dimension)
        if self.unit.dimension not in (unit.dimension, between) and {unit.symbol, self.unit.symbol} != {"K", "ΔK"}:
            raise Misfit(
                f"{self} is a {self.unit.dimension}, not a difference of {unit.dimension}",
                _units_for("temperature" if unit.dimension == "temperature" else between, self.unit, unit),
            )
        return self.number * self.unit.factor / unit.factor

    @property
    def written(self) -> str:
        """As a plan would have it, to the last digit."""
        return f"{decimal_text(self.number) or number_text(self.number)} {self.unit}"

    def __str__(self) -> str:
        return f"{number_text(self.number)} {self.unit}"


@lru_cache(maxsize=1024)  # the numbers of a plan repeat
def _fraction(text: str) -> Fraction:
    return Fraction(text)


def _units_for(dimension: str, found: Unit, due: Unit) -> str:
    coulomb = "; C is the coulomb: write °C for a temperature"
    mistaken = {found.dimension, due.dimension} == {"charge", "temperature"} and "C" in (found.symbol, due.symbol)
    return f"units of {dimension}: {', '.join(symbols_of(dimension))}" + (coulomb if mistaken else "")


class Duration(Quantity):
    """A time that is not negative."""

    __slots__ = ()
    dimension: ClassVar[str] = "time"

    @classmethod
    def from_source(cls, value: Any) -> Self:
        if isinstance(value, str) and (match := _HOURS.fullmatch(value.strip())):
            raise Misfit(f"'{value}' has two units", f"write one: {60 * int(match[1]) + int(match[2])} min")
        if isinstance(value, str) and (match := _CLOCK.fullmatch(value.strip())):
            seconds = 60 * int(match[1]) + int(match[2])
            raise Misfit(
                f"expected {cls._expected()}, found {describe_value(value)}",
                f"write a duration: {seconds} s (or {seconds} min)",
            )
        duration = super().from_source(value)
        if duration.number < 0:
            raise Misfit(f"a time of {duration} is negative", "write it without the minus")
        return duration

    @property
    def seconds(self) -> float:
        return float(self.to("s"))

    @classmethod
    def of(cls, seconds: float) -> Self:
        return cls(exact(seconds), UNITS["s"])


class Level(Quantity):
    """A power level in dBm."""

    __slots__ = ()
    dimension: ClassVar[str] = "level"
    sample: ClassVar[int] = -60

    @classmethod
    def _example(cls, value: Any) -> str:
        """Received levels are below 0 dBm: nothing hears one of 70."""
        return super()._example(value).replace("for example: ", "for example: -").replace("--", "-").replace("-+", "-")


class Gain(Quantity):
    """A level difference in dB."""

    __slots__ = ()
    dimension: ClassVar[str] = "gain"
