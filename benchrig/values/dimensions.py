"""The algebra of dimensions: what the product and the quotient of two units measure.

Each dimension is a product of powers of base quantities, with the size of its first unit in these.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TypeAlias

from benchrig.values.units import BASE, UNITS, Unit

Vector: TypeAlias = frozenset[tuple[str, int]]

# Base quantities with their powers, and what the first unit of the dimension is in s, m, kg, A, lm and byte. What is
# missing has no products: levels, temperatures, which have a zero of their own, and angles, whose units differ by π.
_POWERS: dict[str, tuple[dict[str, int], str]] = {
    "time": ({"s": 1}, "1"),
    "frequency": ({"s": -1}, "1"),
    "length": ({"m": 1}, "1"),
    "area": ({"m": 2}, "1"),
    "volume": ({"m": 3}, "1"),
    "speed": ({"m": 1, "s": -1}, "1"),
    "acceleration": ({"m": 1, "s": -2}, "1"),
    "mass": ({"kg": 1}, "1"),
    "mass flow": ({"kg": 1, "s": -1}, "1"),
    "moisture": ({"kg": 1, "m": -3}, "1/1000"),
    "force": ({"kg": 1, "m": 1, "s": -2}, "1"),
    "pressure": ({"kg": 1, "m": -1, "s": -2}, "1"),
    "energy": ({"kg": 1, "m": 2, "s": -2}, "1"),
    "power": ({"kg": 1, "m": 2, "s": -3}, "1"),
    "current": ({"A": 1}, "1"),
    "charge": ({"A": 1, "s": 1}, "3600"),
    "voltage": ({"kg": 1, "m": 2, "s": -3, "A": -1}, "1"),
    "resistance": ({"kg": 1, "m": 2, "s": -3, "A": -2}, "1"),
    "capacitance": ({"kg": -1, "m": -2, "s": 4, "A": 2}, "1"),
    "magnetic flux density": ({"kg": 1, "s": -2, "A": -1}, "1"),
    "luminous flux": ({"lm": 1}, "1"),
    "illuminance": ({"lm": 1, "m": -2}, "1"),
    "data": ({"byte": 1}, "1"),
    "data rate": ({"byte": 1, "s": -1}, "1/8"),
}
_VECTOR: dict[str, Vector] = {name: frozenset(powers.items()) for name, (powers, _) in _POWERS.items()}
_SIZE = {name: Fraction(size) for name, (_, size) in _POWERS.items()}
_DIMENSION = {vector: name for name, vector in _VECTOR.items()}


def combined(one: Unit | None, other: Unit | None, power: int) -> tuple[Fraction, Unit | None] | None:
    """The product of a unit with another one (`power` 1), or the quotient (-1), as a number of some unit: the one that it
    is exactly, else the first of its dimension. None is the unit of a plain number; the result is None where nothing
    measures it."""
    vectors = [_vector(one), _vector(other)]
    if None in vectors:
        return None
    vector = _product(vectors[0], vectors[1], power)
    factor = _size(one) * _size(other) ** power
    if not vector:
        return factor, None
    dimension = _DIMENSION.get(vector)
    if dimension is None:
        return None
    factor /= _SIZE[dimension]
    unit = next((unit for unit in _units_of(dimension) if unit.factor == factor), BASE[dimension])
    return factor / unit.factor, unit


def _vector(unit: Unit | None) -> Vector | None:
    return frozenset() if unit is None else _VECTOR.get(unit.dimension)


def _size(unit: Unit | None) -> Fraction:
    return Fraction(1) if unit is None else unit.factor * _SIZE[unit.dimension]


def _product(one: Vector | None, other: Vector | None, power: int) -> Vector:
    powers = dict(one or ())
    for base, exponent in other or ():
        powers[base] = powers.get(base, 0) + power * exponent
    return frozenset((base, exponent) for base, exponent in powers.items() if exponent)


def _units_of(dimension: str) -> list[Unit]:
    return [unit for unit in UNITS.values() if unit.dimension == dimension]
