"""Numbers with units, exact, and checked for dimension.

Factors are exact by definition (SI brochure, NIST SP 811) unless a comment says otherwise.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, ClassVar, Self

from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit, describe_value
from benchrig.source.writing import decimal_text


@dataclass(frozen=True)
class Unit:
    """A unit: `value in base = (value + offset) · factor`, with the base unit of its dimension."""

    symbol: str
    dimension: str
    factor: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)

    def __str__(self) -> str:
        return self.symbol


# dimension: the units that measure it as (symbol, factor[, offset]); the first is the base unit.
_TABLE: dict[str, list[tuple[str, str] | tuple[str, str, str]]] = {
    "time": [("s", "1"), ("ms", "1/1000"), ("µs", "1/1000000"), ("min", "60"), ("h", "3600"), ("d", "86400")],
    "temperature": [("°C", "1"), ("K", "1", "-273.15"), ("°F", "5/9", "-32")],
    "level": [("dBm", "1")],
    "gain": [("dB", "1")],
    "ratio": [("%", "1/100"), ("‰", "1/1000"), ("ppm", "1/1000000"), ("ppb", "1/1000000000")],
    "voltage": [("V", "1"), ("mV", "1/1000"), ("µV", "1/1000000"), ("kV", "1000")],
    "current": [("A", "1"), ("mA", "1/1000"), ("µA", "1/1000000"), ("nA", "1/1000000000")],
    "charge": [("Ah", "1"), ("mAh", "1/1000"), ("C", "1/3600")],
    "resistance": [("Ω", "1"), ("kΩ", "1000"), ("MΩ", "1000000")],
    "capacitance": [("F", "1")],
    "power": [("W", "1"), ("mW", "1/1000"), ("kW", "1000")],
    "energy": [("J", "1"), ("kJ", "1000"), ("Wh", "3600"), ("kWh", "3600000"), ("kcal", "4184")],
    # mmHg: conventional millimetre of mercury, 133.322387415 Pa (NIST SP 811, appendix B.8)
    "pressure": [("Pa", "1"), ("hPa", "100"), ("kPa", "1000"), ("mbar", "100"), ("bar", "100000"),
                 ("mmHg", "133.322387415"), ("psi", "6894.757293168")],
    "force": [("N", "1")],
    "length": [("m", "1"), ("mm", "1/1000"), ("cm", "1/100"), ("km", "1000"), ("in", "0.0254"), ("ft", "0.3048")],
    "area": [("m²", "1")],
    "volume": [("m³", "1"), ("l", "1/1000"), ("ml", "1/1000000")],
    "mass": [("kg", "1"), ("g", "1/1000"), ("mg", "1/1000000"), ("lb", "0.45359237")],
    "speed": [("m/s", "1"), ("km/h", "5/18"), ("mph", "0.44704")],
    "acceleration": [("m/s²", "1")],
    "angle": [("°", "1")],
    "angular speed": [("rad/s", "1")],
    "frequency": [("Hz", "1"), ("kHz", "1000"), ("MHz", "1000000"), ("GHz", "1000000000"), ("1/min", "1/60"),
                  ("bpm", "1/60"), ("rpm", "1/60")],
    "illuminance": [("lx", "1")],
    "luminous flux": [("lm", "1")],
    "magnetic flux density": [("T", "1"), ("mT", "1/1000"), ("µT", "1/1000000")],
    "sound pressure level": [("dB SPL", "1")],
    "data": [("byte", "1"), ("bytes", "1"), ("kB", "1000"), ("KiB", "1024"), ("bit", "1/8")],
    "data rate": [("bit/s", "1"), ("kbit/s", "1000"), ("Mbit/s", "1000000"), ("byte/s", "8"), ("kB/s", "8000")],
    "mass flow": [("kg/s", "1")],
    "moisture": [("g/m³", "1"), ("kg/m³", "1000"), ("µg/m³", "1/1000000")],
}  # fmt: skip

# A level differs from another by a gain: -60 dBm ± 3 dB.
_DIFFERENCE = {"level": "gain"}
_ALIASES = {
    "us": "µs",
    "μs": "µs",
    "C": "C",
    "degC": "°C",
    "Ohm": "Ω",
    "uA": "µA",
    "uV": "µV",
    "lux": "lx",
    "B": "byte",
}

UNITS: dict[str, Unit] = {
    entry[0]: Unit(entry[0], dimension, Fraction(entry[1]), Fraction(entry[2]) if len(entry) > 2 else Fraction(0))
    for dimension, entries in _TABLE.items()
    for entry in entries
}
BASE: dict[str, Unit] = {dimension: UNITS[entries[0][0]] for dimension, entries in _TABLE.items()}

_QUANTITY = re.compile(r"([+-]?[0-9]{1,40}(?:\.[0-9]{1,40})?)[ \u00a0]?([^0-9\s].*|1/min)")

_NUMBER = re.compile(r"[+-]?[0-9]{1,40}(?:\.[0-9]{1,40})?(?![0-9])")
_COMMA = re.compile(r"([+-]?[0-9][0-9.]*),([0-9][0-9.,]*)(.*)")
# As people write a time of several units.
_HOURS = re.compile(r"([0-9]{1,6}) ?h ?([0-9]{1,6}) ?(?:m|min)?")
_CLOCK = re.compile(r"([0-9]{1,6}):([0-9]{2})")

# Symbols that are taken for others: where this dimension is due, the unit with this symbol is meant by that one.
_MEANT = {("time", "m"): "min", ("level", "dB"): "dBm", ("gain", "dBm"): "dB"}

# What people write in place of a symbol; there is one way to write each unit.
_SPOKEN = {
    word: symbol
    for symbol, words in {
        "s": "sec secs second seconds", "ms": "msec msecs millisecond milliseconds", "min": "mins minute minutes",
        "h": "hr hrs hour hours", "d": "day days", "V": "volt volts", "mV": "millivolt millivolts",
        "A": "amp amps ampere amperes", "mA": "milliamp milliamps", "°C": "celsius deg degc", "%": "percent pct",
        "°F": "fahrenheit degf", "Ω": "ohm ohms", "Hz": "hertz", "Pa": "pascal pascals", "bytes": "byte b octet octets",
        "kg": "kilogram kilograms", "g": "gram grams", "m": "meter meters metre metres", "dBm": "dbm", "dB": "db",
    }.items()
    for word in words.split()
}  # fmt: skip


def unit_named(symbol: str) -> Unit:
    """The unit with this symbol; Misfit with the nearest symbols otherwise."""
    unit = UNITS.get(_ALIASES.get(symbol, symbol))
    if unit is None:
        meant = _SPOKEN.get(symbol.lower())
        raise Misfit(f"unknown unit '{symbol}'", f"did you mean '{meant}'?" if meant else suggest(symbol, UNITS))
    return unit


def decimal_comma(value: Any) -> Misfit | None:
    """What is wrong with a number that is written with a comma; None for anything else."""
    match = _COMMA.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        return None
    whole, rest, unit = match.groups()
    plain = f": {whole}.{rest}{unit}" if (whole + rest).lstrip("+-").isdigit() else ", and no other marks"
    return Misfit(f"'{value.strip()}' has a comma in its number", f"write a decimal point{plain}")


def dimension_of(symbol: str) -> str:
    """The dimension of a unit symbol; '' for a plain number ('')."""
    return unit_named(symbol).dimension if symbol else ""


def symbols_of(dimension: str) -> list[str]:
    return [unit.symbol for unit in UNITS.values() if unit.dimension == dimension]


def is_number(value: Any) -> bool:
    """Whether it is a number with a place among the others: no truth value, no infinity, not 'not a number'."""
    if type(value) is int:
        return True
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, Decimal):
        return value.is_finite()
    return isinstance(value, (int, Fraction)) and not isinstance(value, bool)


def exact(number: float | Decimal | Fraction) -> Fraction:
    """The number as people wrote it: a float stands for its shortest decimal, so 0.1 is one tenth."""
    return Fraction(Decimal(repr(number)) if isinstance(number, float) else number)


def as_number(value: Fraction) -> int | float:
    """An int where it is one, else the nearest float; beyond all floats the nearest int."""
    if value.denominator == 1:
        return value.numerator
    try:
        return value.numerator / value.denominator
    except OverflowError:
        return round(value)


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

    `+`, `-` and order take a quantity of the same dimension, `*` a number, `/` either; the result has the unit of the
    left side. A level changes by a gain, and two levels differ by one. Misfit for what makes no sense."""

    __slots__ = ("number", "unit")
    dimension: ClassVar[str] = ""
    sample: ClassVar[int] = 5
    source_schema: ClassVar[dict[str, Any]] = {
        "type": "string",
        "pattern": r"^([+-]?[0-9]+(\.[0-9]+)? ?[^0-9\s].*|.*\$\{.*)$",
    }

    def __init__(self, number: Fraction | Decimal | float, unit: Unit | str) -> None:
        """`unit` may be its symbol: Quantity(21.4, "°C"). Misfit for an unknown one."""
        self.number = number if type(number) is Fraction else exact(number)
        self.unit = unit_named(unit) if isinstance(unit, str) else unit

    def __eq__(self, other: object) -> bool:
        same = isinstance(other, Quantity) and self.unit.dimension == other.unit.dimension
        return same and self.base == other.base  # type: ignore[attr-defined]

    def __hash__(self) -> int:
        return hash((self.unit.dimension, self.base))

    def __lt__(self, other: Quantity) -> bool:
        return self.base < self._alike(other).base

    def __le__(self, other: Quantity) -> bool:
        return self.base <= self._alike(other).base

    def __gt__(self, other: Quantity) -> bool:
        return self.base > self._alike(other).base

    def __ge__(self, other: Quantity) -> bool:
        return self.base >= self._alike(other).base

    def __add__(self, other: Quantity) -> Quantity:
        if self.unit.dimension == self._quantity(other).unit.dimension == "level":
            raise Misfit(f"{self} and {other} are levels, which have no sum")
        return Quantity(self.number + self._difference(other), self.unit)

    def __sub__(self, other: Quantity) -> Quantity:
        if self.unit.dimension == self._quantity(other).unit.dimension == "level":
            return Quantity(self.number - other.number, UNITS["dB"])
        return Quantity(self.number - self._difference(other), self.unit)

    def __mul__(self, factor: float | Decimal | Fraction) -> Quantity:
        return Quantity(self.number * exact(factor), self.unit) if is_number(factor) else NotImplemented

    __rmul__ = __mul__

    def __truediv__(self, other: Any) -> Any:
        if isinstance(other, Quantity):
            return self.base / self._alike(other).base
        return Quantity(self.number / exact(other), self.unit) if is_number(other) else NotImplemented

    def __neg__(self) -> Quantity:
        return Quantity(-self.number, self.unit)

    def __abs__(self) -> Quantity:
        return Quantity(abs(self.number), self.unit)

    @property
    def base(self) -> Fraction:
        """The number in the base unit of the dimension."""
        return (self.number + self.unit.offset) * self.unit.factor

    def _quantity(self, other: Any) -> Quantity:
        if not isinstance(other, Quantity):
            raise Misfit(f"{other!r} has no unit, {self} has one", f"write Quantity.from_source('{other} {self.unit}')")
        return other

    def _alike(self, other: Any) -> Quantity:
        if self._quantity(other).unit.dimension != self.unit.dimension:
            raise Misfit(f"{self} is a {self.unit.dimension}, {other} a {other.unit.dimension}")
        return other  # type: ignore[no-any-return]

    def _difference(self, other: Quantity) -> Fraction:
        """Another one as a difference in this unit. Of temperatures in two units nobody can tell whether it is one."""
        if other.unit is not self.unit and (other.unit.offset or self.unit.offset):
            raise Misfit(
                f"{self} and {other}: a value looks like a difference", "convert one of them to the other's unit"
            )
        return other.difference_to(self.unit.symbol)

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
        """The number in another unit of the same dimension; Misfit when the dimensions differ."""
        unit = unit_named(symbol)
        if unit.dimension != self.unit.dimension:
            raise Misfit(
                f"{self} is a {self.unit.dimension}, not a {unit.dimension}",
                _units_for(unit.dimension, self.unit, unit),
            )
        if unit is self.unit:
            return self.number
        return (self.number + self.unit.offset) * self.unit.factor / unit.factor - unit.offset

    def difference_to(self, symbol: str) -> Fraction:
        """The number as a difference between two values in unit `symbol`: 1 K is 1 °C, 3 dB between dBm."""
        unit = unit_named(symbol)
        if self.unit.dimension not in (unit.dimension, _DIFFERENCE.get(unit.dimension)):
            raise Misfit(
                f"{self} is a {self.unit.dimension}, not a difference of {unit.dimension}",
                _units_for(_DIFFERENCE.get(unit.dimension, unit.dimension), self.unit, unit),
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
