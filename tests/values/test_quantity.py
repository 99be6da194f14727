"""Quantities: exact conversion against published factors, dimensions, and what is no quantity.

Factors: NIST Special Publication 811 (2008), appendix B.8, as printed there; exact ones are marked bold in it.
"""

from __future__ import annotations

import operator
import pickle
from contextlib import suppress
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.source.shape import Misfit
from benchrig.values.quantity import (
    BASE,
    UNITS,
    Duration,
    Gain,
    Level,
    Quantity,
    as_number,
    exact,
    number_text,
    symbols_of,
    unit_named,
)

EXACT = [
    ("1 in", "m", "0.0254"),
    ("1 ft", "m", "0.3048"),
    ("1 lb", "kg", "0.45359237"),
    ("1 mph", "m/s", "0.44704"),
    ("1 mbar", "Pa", "100"),
    ("1 bar", "kPa", "100"),
    ("1 kWh", "J", "3600000"),
    ("1 kcal", "J", "4184"),  # thermochemical calorie
    ("32 °F", "°C", "0"),
    ("212 °F", "°C", "100"),
    ("-40 °F", "°C", "-40"),
    ("98.6 °F", "°C", "37"),
    ("0 K", "°C", "-273.15"),
    ("273.16 K", "°C", "0.01"),
    ("-459.67 °F", "K", "0"),
    ("1 h", "ms", "3600000"),
    ("36 km/h", "m/s", "10"),
    ("60 bpm", "Hz", "1"),
    ("1 mAh", "C", "3.6"),
    ("1 KiB", "bytes", "1024"),
    ("8 bit", "byte", "1"),
    ("1 kB/s", "kbit/s", "8"),
    ("250 ppm", "%", "0.025"),
    ("1 g/m³", "kg/m³", "0.001"),
]
ROUNDED = [("1 psi", "Pa", "6894.757"), ("1 psi", "kPa", "6.894757"), ("1 mmHg", "Pa", "133.3224")]


@pytest.mark.parametrize(("text", "unit", "number"), EXACT)
def test_factors_that_are_exact(text, unit, number):
    assert Quantity.from_source(text).to(unit) == Fraction(number)


@pytest.mark.parametrize(("text", "unit", "number"), ROUNDED)
def test_factors_that_are_published_to_seven_digits(text, unit, number):
    assert float(f"{float(Quantity.from_source(text).to(unit)):.7g}") == float(number)


@pytest.mark.parametrize(
    ("difference", "unit", "number"),
    [("1 K", "°C", "1"), ("9 °F", "°C", "5"), ("1 °C", "°F", "1.8"), ("3 dB", "dBm", "3"), ("5 ms", "s", "0.005")],
)
def test_a_difference_has_no_offset(difference, unit, number):
    assert Quantity.from_source(difference).difference_to(unit) == Fraction(number)


@pytest.mark.parametrize(("text", "unit"), [("3 s", "°C"), ("3 dBm", "dB"), ("3 dB", "V")])
def test_what_is_no_difference(text, unit):
    with pytest.raises(Misfit, match="not a difference of"):
        Quantity.from_source(text).difference_to(unit)


@given(st.sampled_from(sorted(UNITS)), st.fractions(), st.data())
def test_there_and_back_is_the_same_number(symbol, number, data):
    other = data.draw(st.sampled_from(symbols_of(UNITS[symbol].dimension)))
    there = Quantity(number, UNITS[symbol]).to(other)
    assert Quantity(there, UNITS[other]).to(symbol) == number


@given(st.sampled_from(sorted(UNITS)), st.sampled_from(sorted(UNITS)))
def test_only_one_dimension_converts(symbol, other):
    one, dimension = Quantity(Fraction(1), UNITS[symbol]), UNITS[other].dimension
    if one.unit.dimension == dimension:
        assert isinstance(one.to(other), Fraction)
    else:
        with pytest.raises(Misfit, match=f"is a {one.unit.dimension}, not a {dimension}"):
            one.to(other)


def test_every_dimension_has_a_unit_of_its_own():
    assert {unit.dimension for unit in BASE.values()} == {unit.dimension for unit in UNITS.values()}


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("250 ms", "250 ms"),
        ("250ms", "250 ms"),
        (" 5 % ", "5 %"),
        ("-70 dBm", "-70 dBm"),
        ("+2.50 V", "2.5 V"),
        ("5\u00a0µs", "5 µs"),
        ("5 us", "5 µs"),
        ("5 μs", "5 µs"),  # the Greek letter, not the micro sign
        ("20 degC", "20 °C"),
        ("1 Ohm", "1 Ω"),
        ("0.1 °C", "0.1 °C"),
    ],
)
def test_ways_to_write_a_quantity(text, shown):
    assert str(Quantity.from_source(text)) == shown


@pytest.mark.parametrize(
    "value", ["", "5", "s", "5 5 s", "1e3 s", ".5 s", "5. s", "0x5 s", "5,5 s", "9" * 41 + " s", 5, 5.0, None, True, []]
)
def test_what_is_no_quantity(value):
    with pytest.raises(Misfit):
        Quantity.from_source(value)


@pytest.mark.parametrize(
    ("symbol", "advice"),
    [("mv", "did you mean 'mV'?"), ("°c", "did you mean '°C'?"), ("KPa", "did you mean 'kPa'?"), ("HZ", "'Hz'")],
)
def test_an_unknown_unit_gets_the_nearest(symbol, advice):
    with pytest.raises(Misfit, match=f"unknown unit '{symbol}'") as refused:
        unit_named(symbol)
    assert advice in refused.value.advice


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [
        (Duration, "5 °C", "expected a time with its unit, found a temperature"),
        (Duration, "-1 s", "negative"),
        (Level, "3 dB", "expected a level with its unit, found a gain"),
        (Gain, "3 dBm", "expected a gain with its unit, found a level"),
    ],
)
def test_a_wrong_dimension(kind, text, said):
    with pytest.raises(Misfit, match=said):
        kind.from_source(text)


@pytest.mark.parametrize(
    ("kind", "text", "advice"),
    [
        (Duration, "10m", "did you mean '10 min'?"),
        (Duration, "1.5 m", "did you mean '1.5 min'?"),
        (Duration, "10", "for example: 10 s"),
        (Duration, "10 mV", "for example: 10 s"),
        (Duration, "soon", "for example: 5 s"),
        (Duration, "1h30m", "write one: 90 min"),
        (Duration, "2 h 5 min", "write one: 125 min"),
        (Duration, 3, "for example: 3 s"),
        (Level, "strong", "for example: -60 dBm"),
        (Level, "-60 dB", "did you mean '-60 dBm'?"),
        (Gain, "6 dBm", "did you mean '6 dB'?"),
        (Quantity, "21,5 °C", "write a decimal point: 21.5 °C"),
        (Quantity, "-0,25mV", "write a decimal point: -0.25mV"),
        (Quantity, "1,234.5 V", "write a decimal point, and no other marks"),
        (Quantity, "1,234,5 V", "write a decimal point, and no other marks"),
    ],
)
def test_advice_for_what_people_write(kind, text, advice):
    with pytest.raises(Misfit) as caught:
        kind.from_source(text)
    assert caught.value.advice == advice


@given(st.text(max_size=30))
def test_any_text_is_a_quantity_or_a_misfit(text):
    with suppress(Misfit):
        assert Quantity.from_source(text).unit in UNITS.values()


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_stands_for_its_shortest_decimal(number):
    assert exact(number) == Fraction(Decimal(repr(number)))
    assert float(exact(number)) == number


def test_a_tenth_is_a_tenth():
    assert exact(0.1) + exact(0.2) == exact(0.3)


@given(st.fractions())
def test_the_nearest_number(value):
    number = as_number(value)
    assert number == value if value.denominator == 1 else number == float(value)


def test_beyond_all_floats_there_are_still_ints():
    assert as_number(Fraction(10**400 * 2 + 1, 2)) == 10**400


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (0.30000000000000004, "0.3"),
        (-273.15, "-273.15"),
        (5.0, "5"),
        (1e6, "1000000"),
        (1 / 3, "0.333333"),
        (Fraction(1, 8), "0.125"),
        (Decimal("0.10"), "0.10"),
        (12345678901, "12345678901"),
    ],
)
def test_numbers_for_people(number, text):
    assert number_text(number) == text


# --- arithmetic


def quantity(text: str) -> Quantity:
    return Quantity.from_source(text)


@pytest.mark.parametrize(
    ("result", "expected"),
    [
        (quantity("83 %") - quantity("80 %"), "3 %"),
        (quantity("1.5 s") + quantity("250 ms"), "1.75 s"),
        (quantity("0.1 V") + quantity("0.2 V"), "0.3 V"),
        (quantity("25 °C") - quantity("20.5 °C"), "4.5 ΔK"),
        (quantity("68 °F") - quantity("10 °C"), "10 ΔK"),
        (quantity("20 °C") + quantity("0.5 °C"), "20.5 °C"),
        (quantity("20 °C") + quantity("0.5 K"), "20.5 °C"),
        (quantity("0.5 ΔK") + quantity("20 °C"), "20.5 °C"),
        (quantity("0.5 K") + quantity("20 °C"), "20.5 °C"),
        (quantity("25 °C") - quantity("1 K"), "24 °C"),
        (quantity("50 °F") + quantity("10 K"), "68 °F"),
        (quantity("3 K") - quantity("1 K"), "2 K"),
        (quantity("3 dB") + quantity("-60 dBm"), "-57 dBm"),
        (quantity("50 dB SPL") - quantity("47 dB SPL"), "3 dB"),
        (quantity("50 %") * quantity("3 V"), "1.5 V"),
        (quantity("3 V") * quantity("50 %"), "1.5 V"),
        (quantity("50 %") * quantity("50 %"), "25 %"),
        (quantity("3 V") / quantity("50 %"), "6 V"),
        (quantity("2 V") * quantity("3 A"), "6 W"),
        (quantity("2 V") * quantity("3 mA"), "6 mW"),
        (quantity("2 W") * quantity("3 h"), "6 Wh"),
        (quantity("2 W") * quantity("3 s"), "6 J"),
        (quantity("2 V") * quantity("3 Ah"), "6 Wh"),
        (quantity("500 mA") * quantity("2 h"), "1000 mAh"),
        (quantity("6 V") / quantity("2 A"), "3 Ω"),
        (quantity("6 V") / quantity("2 kΩ"), "3 mA"),
        (quantity("6 m") / quantity("2 s"), "3 m/s"),
        (quantity("6 km") / quantity("2 h"), "3 km/h"),
        (quantity("600 bytes") / quantity("2 s"), "300 byte/s"),
        (quantity("6 mAh") / quantity("2 mA"), "3 h"),
        (1 / quantity("2 s"), "0.5 Hz"),
        (3 / quantity("1 min"), "3 1/min"),
        (quantity("60 rpm") * quantity("2 min") * quantity("3 V"), "360 V"),
        (quantity("2 C") * quantity("3 V"), "6 J"),
        (quantity("3 l") * quantity("2 kg/m³"), "6 g"),
        (round(quantity("2.345 V"), 2), "2.35 V"),
        (round(quantity("-2.5 V")), "-3 V"),
        (+Quantity(0.1, "V"), "0.1 V"),
        (quantity("-60 dBm") - quantity("-70 dBm"), "10 dB"),
        (quantity("-60 dBm") + quantity("3 dB"), "-57 dBm"),
        (quantity("-60 dBm") - quantity("3 dB"), "-63 dBm"),
        (quantity("0.1 V") * 3, "0.3 V"),
        (0.1 * quantity("3 V"), "0.3 V"),
        (quantity("1 m") / 4, "0.25 m"),
        (-quantity("2 V"), "-2 V"),
        (abs(quantity("-2 V")), "2 V"),
    ],
)
def test_arithmetic_is_exact_and_keeps_the_unit(result: Quantity, expected: str) -> None:
    assert (str(result), result) == (expected, quantity(expected))


def test_a_difference_of_temperatures_is_no_temperature() -> None:
    rise = quantity("25 °C") - quantity("20 °C")
    assert quantity("4.9 K") < rise <= quantity("5 K")
    assert rise.difference_to("°F") == 9
    with pytest.raises(Misfit, match="5 ΔK is a temperature difference, not a temperature"):
        rise.to("°C")


@pytest.mark.parametrize("text", ["21.4 °C", "1/3 V", "60 1/min"])
def test_a_quantity_is_copied_whole(text: str) -> None:
    number, unit = text.split(" ")
    one = Quantity(Fraction(number), unit)
    again = pickle.loads(pickle.dumps(one))
    assert (again, again.unit, hash(again)) == (one, one.unit, hash(one))
    assert pickle.loads(pickle.dumps(Duration.of(2))) == Duration.of(2)


@pytest.mark.parametrize("number", [3, 0.1, Decimal("0.1"), Fraction(1, 3)])
def test_any_number_has_a_unit(number: Any) -> None:
    assert Quantity(number, "V").number == exact(number)


def test_a_quantity_and_what_is_none() -> None:
    assert quantity("1 V") != "1 V"
    assert quantity("1 V") not in (None, True, [1], {})
    for action in (lambda: quantity("1 V") * "2", lambda: "2" / quantity("1 V"), lambda: quantity("1 V") / None):
        with pytest.raises(TypeError):
            action()


def test_a_ratio_of_quantities_is_a_number() -> None:
    assert 3 / quantity("50 %") == 6
    assert quantity("3 K") / quantity("2 K") == quantity("3 ΔK") / quantity("2 K") == Fraction(3, 2)
    assert quantity("30 °C") / quantity("20 °C") == Fraction(3, 2)
    assert quantity("1 m") / quantity("3 cm") == Fraction(100, 3)


def test_quantities_are_ordered_across_units() -> None:
    assert quantity("999 ms") < quantity("1 s") <= quantity("1000 ms") == quantity("1 s")
    assert quantity("100 °C") >= quantity("212 °F") > quantity("373 K")
    assert len({quantity("1 s"), quantity("1000 ms"), quantity("1 V")}) == 2


def test_what_can_never_be_equal_is_no_answer() -> None:
    level = quantity("81 %")
    for number in (81, 81.5, Decimal("81.5"), Fraction(163, 2), float("nan"), quantity("81 V"), quantity("81 ΔK")):
        for compare in (operator.eq, operator.ne):
            for one, other in ((level, number), (number, level)):
                with pytest.raises(Misfit) as refused:
                    compare(one, other)
        advice = "" if isinstance(number, Quantity) else f"write Quantity('{number} %')"
        assert (refused.value.advice, refused.value.cause) == (advice, "plan")


@pytest.mark.parametrize(
    ("action", "message"),
    [
        (lambda: quantity("1 s") + quantity("1 V"), "1 V is a voltage, not a difference of time"),
        (lambda: quantity("1 s") < quantity("1 V"), "1 s is a time, 1 V a voltage"),
        (lambda: quantity("-60 dBm") + quantity("-60 dBm"), "-60 dBm and -60 dBm are levels, which have no sum"),
        (lambda: quantity("25 °C") + quantity("1 °F"), "25 °C and 1 °F: a value looks like a difference"),
        (lambda: quantity("1 K") - quantity("25 °C"), "25 °C cannot be taken from 1 K"),
        (lambda: quantity("3 dB") - quantity("-60 dBm"), "-60 dBm cannot be taken from 3 dB"),
        (lambda: quantity("3 V") - quantity("2 %"), "3 V is a voltage, 2 % a ratio"),
        (lambda: quantity("3 V") * quantity("2 V"), "no unit measures V * V"),
        (lambda: quantity("2 °C") * quantity("2 V"), "no unit measures °C * V"),
        (lambda: 2 / quantity("3 V"), "no unit measures 1 / V"),
        (lambda: quantity("-60 dBm") / quantity("-30 dBm"), "-60 dBm and -30 dBm have no ratio"),
        (lambda: quantity("3 V") / quantity("0 mV"), "a division by 0 mV"),
        (lambda: quantity("3 V") / quantity("0 A"), "a division by 0 A"),
        (lambda: quantity("3 V") / quantity("0 %"), "a division by 0 %"),
        (lambda: quantity("3 V") / 0, "a division by 0"),
        (lambda: 3 / quantity("0 s"), "a division by 0 s"),
        (lambda: quantity("2 K") < quantity("3 V"), "2 K is a temperature, 3 V a voltage"),
        (lambda: quantity("1 s") - 1, "1 has no unit, 1 s has one"),
    ],
)
def test_what_makes_no_sense(action: Any, message: str) -> None:
    with pytest.raises(Misfit) as refused:
        action()
    assert refused.value.message == message
