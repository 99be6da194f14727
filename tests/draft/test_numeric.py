"""Limits for numbers."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.draft.judged import Basis
from benchrig.draft.numeric import is_counter, number_limit
from benchrig.draft.tolerance import factor
from benchrig.values.base import Format
from benchrig.values.format import build_format
from benchrig.values.limit import Limit
from benchrig.values.spec import Exact, FormatSpec

CELSIUS = build_format(FormatSpec(as_="sint16", scale=Exact("0.01"), unit="°C", valid_min=Exact("-40")))
PERCENT = build_format(FormatSpec(as_="uint8", unit="%", valid_max=Exact("100")))
COUNT = build_format(FormatSpec(as_="uint16"))
SECONDS = build_format(FormatSpec(as_="uint16", unit="s"))
FLOAT = build_format(FormatSpec(as_="float32", unit="°C"))
BASIS = Basis()


def limit(form: Format, *units: list[float], setting: bool = False) -> dict[str, str] | None:
    by_unit = {str(number): values for number, values in enumerate(units)}
    return number_limit(by_unit, form, BASIS, setting=setting).limit


def test_two_units_give_a_tolerance_interval_one_step_wider():
    reach = factor(2, 1, 0.99, 0.95) * 0.02 / 2**0.5  # sd of 21.50 and 21.52
    found = limit(CELSIUS, [21.5], [21.52])
    assert found is not None
    low, high = (Fraction(found[key].split()[0]) for key in ("min", "max"))
    assert Fraction("0.01") <= Fraction(21.51 - reach) - low < Fraction("0.02")
    assert Fraction("0.01") <= high - Fraction(21.51 + reach) < Fraction("0.02")


def test_limits_stay_within_what_is_legal():
    assert limit(PERCENT, [97, 99]) == {"min": "30 %", "max": "100 %"}
    assert limit(CELSIUS, [-39.0], [20.0]) == {"min": "-40 °C", "max": "327.67 °C"}


def test_a_measured_value_that_does_not_move_is_a_guess():
    proposal = number_limit({"a": [40.0, 40.0]}, CELSIUS, BASIS, setting=False)
    assert (proposal.guess, proposal.limit) == (True, {"min": "35.99 °C", "max": "44.01 °C"})
    assert limit(CELSIUS, [0]) == {"min": "-0.06 °C", "max": "0.06 °C"}


def test_units_that_agree_leave_a_step():
    proposal = number_limit({"a": [40], "b": [40]}, PERCENT, BASIS, setting=False)
    assert (proposal.guess, proposal.limit) == (False, {"min": "39 %", "max": "41 %"})


def test_settings_and_numbers_without_a_unit_are_equal():
    assert limit(CELSIUS, [5], setting=True) == {"equals": "5 °C"}
    assert limit(COUNT, [7, 7], [7]) == {"equals": "7"}


@pytest.mark.parametrize(
    ("form", "values", "counts"),
    [
        (COUNT, [1, 2, 3], True),
        (COUNT, [1, 1, 2], True),
        (COUNT, [65534, 65535, 0], True),
        (COUNT, [0, 1, 2, 3, 0, 1, 2, 3], True),
        (COUNT, [0, 1, 0, 1, 0, 1, 0, 1], False),
        (COUNT, [5, 6, 5, 6], False),
        (COUNT, [1, 1, 1], False),
        (COUNT, [3, 2, 3], False),
        (COUNT, [1, 2], False),
        (SECONDS, [10, 11, 12], True),
        (CELSIUS, [1, 2, 3], False),
        (FLOAT, [1, 2, 3], False),
    ],
)
def test_counters(form, values, counts):
    assert is_counter({"a": values}, form) == counts


def test_a_counter_may_be_anything_legal():
    assert limit(COUNT, [1, 2, 3]) == {"min": "0", "max": "65535"}


def test_floats_are_rounded_outwards_to_digits_that_say_something():
    assert limit(FLOAT, [36.59999847, 36.70000076, 36.65000153]) == {"min": "36 °C", "max": "37.3 °C"}


def test_a_number_too_long_for_a_plan_has_no_limit():
    double = build_format(FormatSpec(as_="float64"))
    assert limit(double, [1e300, 1e300]) is None


@pytest.mark.parametrize("form", [CELSIUS, PERCENT, COUNT, FLOAT], ids=lambda form: form.describe())
@given(data=st.data())
def test_what_was_seen_passes(form, data):
    raw = st.binary(min_size=form.size, max_size=form.size).filter(lambda each: _fits(form, each))
    units = data.draw(st.lists(st.lists(raw.map(form.decode), min_size=1, max_size=5), min_size=1, max_size=4))
    found = limit(form, *units, setting=data.draw(st.booleans()))
    if found is not None:
        bound = Limit(**{key: _typed(text) for key, text in found.items()}).bind("number", form.unit)
        assert all(bound.passes(value) for values in units for value in values)


def _typed(text: str) -> object:
    return text if " " in text else Fraction(text)


def _fits(form: Format, data: bytes) -> bool:
    from benchrig.errors import MalformedValue

    try:
        return isinstance(form.decode(data), (int, float))
    except MalformedValue:
        return False


def test_whole_numbers_without_an_order_may_be_those_of_a_counter() -> None:
    """One value of each unit: statistics of how far each has counted would fail good ones."""
    proposal = number_limit({"a": [12], "b": [480], "c": [97]}, COUNT, BASIS, setting=False)
    assert (proposal.guess, proposal.limit) == (True, {"min": "0", "max": "65535"})
    assert "may be a counter" in proposal.reason
