"""The units, by dimension.

Factors are exact by definition (SI brochure, NIST SP 811) unless a comment says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from benchrig.source.problem import suggest
from benchrig.source.shape import Misfit


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
    "temperature difference": [("ΔK", "1")],
    "level": [("dBm", "1")],
    "gain": [("dB", "1")],
    "ratio": [("%", "1/100"), ("‰", "1/1000"), ("ppm", "1/1000000"), ("ppb", "1/1000000000")],
    "voltage": [("V", "1"), ("mV", "1/1000"), ("µV", "1/1000000"), ("kV", "1000")],
    "current": [("A", "1"), ("mA", "1/1000"), ("µA", "1/1000000"), ("nA", "1/1000000000")],
    "charge": [("Ah", "1"), ("mAh", "1/1000"), ("C", "1/3600")],
    "resistance": [("Ω", "1"), ("kΩ", "1000"), ("MΩ", "1000000")],
    "capacitance": [("F", "1")],
    "power": [("W", "1"), ("mW", "1/1000"), ("kW", "1000")],
    "energy": [("J", "1"), ("kJ", "1000"), ("Wh", "3600"), ("mWh", "3.6"), ("kWh", "3600000"), ("kcal", "4184")],
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

# What two values of a dimension differ by: -60 dBm ± 3 dB.
DIFFERENCE = {"level": "gain", "sound pressure level": "gain", "temperature": "temperature difference"}
LEVELS = ("level", "sound pressure level")
_ALIASES = {
    "us": "µs",
    "μs": "µs",
    "C": "C",
    "deltaK": "ΔK",
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


def dimension_of(symbol: str) -> str:
    """The dimension of a unit symbol; '' for a plain number ('')."""
    return unit_named(symbol).dimension if symbol else ""


def symbols_of(dimension: str) -> list[str]:
    return [unit.symbol for unit in UNITS.values() if unit.dimension == dimension]
