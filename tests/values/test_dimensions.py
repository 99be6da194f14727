"""Products and quotients of units, against pint as a referee."""

from __future__ import annotations

import itertools
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.source.shape import Misfit
from benchrig.values.dimensions import _POWERS
from benchrig.values.quantity import Quantity
from benchrig.values.units import BASE, UNITS

# What pint calls what it writes otherwise. A beat and a revolution are 1: for pint rpm is an angle in a time. psi has more
# digits there than the conversion factor of NIST SP 811.
NAMES = {
    "°C": "degC", "°F": "degF", "ΔK": "K", "Ah": "A * h", "mAh": "mA * h", "C": "C", "mWh": "mW * h", "%": "percent", "‰": "permille",
    "ppb": "ppm / 1000", "m²": "m**2", "m³": "m**3", "m/s²": "m / s**2", "bpm": "1 / min", "rpm": "1 / min", "g/m³": "g / m**3",
    "kg/m³": "kg / m**3", "µg/m³": "µg / m**3", "kcal": "kcal", "bytes": "byte", "Hz": "1 / s", "kHz": "1000 / s",
    "MHz": "1e6 / s", "GHz": "1e9 / s", "°": "degree", "lx": "lm / m**2",
}  # fmt: skip
WITH_A_ZERO = {"temperature", "level", "gain", "sound pressure level", "temperature difference"}
# in these pint counts radians, which are 1 to it
ANGLES = {"angle", "angular speed"}
SYMBOLS = [s for s, unit in UNITS.items() if unit.dimension not in WITH_A_ZERO | ANGLES | {"ratio"} and s != "psi"]


@cache
def referee() -> Any:
    import pint  # it takes a second, and every worker of the suite imports this file

    return pint.UnitRegistry(non_int_type=Fraction)


@cache
def refereed(symbol: str) -> Any:
    """One of a unit, in pint's base units. An unknown word is an AttributeError: add pint's to NAMES above."""
    parsed = referee().parse_expression(NAMES.get(symbol, symbol))
    one = (parsed * referee().Quantity(Fraction(1), "dimensionless")).to_base_units()
    return referee().Quantity(Fraction(one.magnitude), one.units)


def of_referee(one: str, other: str, power: int) -> Any:
    return refereed(one) * refereed(other) if power == 1 else refereed(one) / refereed(other)


def test_every_dimension_has_its_products_or_none() -> None:
    missing = sorted(BASE.keys() - {*_POWERS} - WITH_A_ZERO - ANGLES - {"ratio"})
    assert not missing, f"add {', '.join(missing)} to _POWERS of values/dimensions.py, or to what has no products above"


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_products_and_quotients_are_those_of_pint(symbol: str) -> None:
    for other, power in itertools.product([unit.symbol for unit in BASE.values() if unit.symbol in SYMBOLS], (1, -1)):
        due = of_referee(symbol, other, power)
        one, two = Quantity(3, symbol), Quantity(7, other)
        number = 21 if power == 1 else Fraction(3, 7)
        try:
            result = one * two if power == 1 else one / two
        except Misfit:
            same = [
                unit for unit in BASE.values() if unit.symbol in SYMBOLS and refereed(unit.symbol).units == due.units
            ]
            assert not same, f"{symbol} {power} {other} is {same[0]}"
            continue
        back = (
            result * refereed("dimensionless")
            if not isinstance(result, Quantity)
            else result.number * refereed(result.unit.symbol)
        )
        assert (back.magnitude, back.units) == (number * due.magnitude, due.units), f"{symbol} {power} {other}"


NUMBERS = st.fractions(-1000, 1000, max_denominator=1000)
SYMBOL = st.sampled_from(sorted(UNITS))


@given(NUMBERS, SYMBOL, NUMBERS, SYMBOL)
def test_what_a_product_is_made_of_comes_back_from_it(
    number: Fraction, symbol: str, other: Fraction, unit: str
) -> None:
    """Exactly, or there is no such product."""
    one, two = Quantity(number, symbol), Quantity(other, unit)
    try:
        product = one * two
        back = product / two
    except Misfit:
        return
    assert back == one or one.is_part
    assert product == two * one or one.is_part


@given(NUMBERS, SYMBOL, NUMBERS, SYMBOL)
def test_a_sum_less_what_was_added_is_what_was_there(number: Fraction, symbol: str, other: Fraction, unit: str) -> None:
    one, two = Quantity(number, symbol), Quantity(other, unit)
    try:
        total = one + two
    except Misfit:
        return
    assert total - (two if not two.has_zero else two - Quantity(0, two.unit)) == one or two.has_zero
    assert total.number - one.number == two.difference_to(symbol) or two.has_zero
