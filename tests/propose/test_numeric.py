"""Limits for numbers."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.propose.numeric import farthest, is_counter, may_count, number_limit
from benchrig.propose.proposal import Basis, Proposal
from benchrig.study.tolerance import Group, factor, spread_of
from benchrig.values.base import Format
from benchrig.values.format import FormatSpec, build_format
from benchrig.values.limit import Limit
from benchrig.values.spec import Exact

CELSIUS = build_format(FormatSpec(as_="sint16", scale=Exact("0.01"), unit="°C", valid_min=Exact("-40")))
PERCENT = build_format(FormatSpec(as_="uint8", unit="%", valid_max=Exact("100")))
COUNT = build_format(FormatSpec(as_="uint16"))
SECONDS = build_format(FormatSpec(as_="uint16", unit="s"))
FLOAT = build_format(FormatSpec(as_="float32", unit="°C"))
BASIS = Basis()


def limit(form: Format, *units: list[float], setting: bool = False) -> dict[str, str] | None:
    by_unit = {str(number): values for number, values in enumerate(units)}
    return number_limit(by_unit, form, BASIS, setting=setting).limit


def proposed(form: Format, *units: list[float]) -> Proposal:
    return number_limit({str(number): values for number, values in enumerate(units)}, form, BASIS, setting=False)


def test_many_units_give_a_tolerance_interval_one_step_wider():
    values = [21.5 + number / 100 for number in range(12)]
    spread = spread_of([Group.of([value]) for value in values])
    reach = factor(12, 11, 0.99, 0.95) * spread.sd
    found = proposed(CELSIUS, *([value] for value in values))
    assert found.limit is not None
    assert not found.guess
    low, high = (Fraction(found.limit[key].split()[0]) for key in ("min", "max"))
    assert Fraction("0.01") <= Fraction(spread.mean - reach) - low < Fraction("0.02")
    assert Fraction("0.01") <= high - Fraction(spread.mean + reach) < Fraction("0.02")


def test_how_far_values_of_one_unit_lie_apart_is_no_matter_of_how_far_units_do():
    def rows(*units: list[str]) -> list[list[Fraction]]:
        return [[Fraction(value) for value in unit] for unit in units]

    assert farthest(CELSIUS, rows(["20", "20"], ["30", "30"])) == 3, "a tenth of the greatest"
    assert farthest(CELSIUS, rows(["20", "24"], ["30", "30"])) == 8, "twice what those of one unit are apart"
    assert farthest(PERCENT, rows(["1", "1"])) == 5, "five steps in any case"


@pytest.mark.parametrize(
    "units",
    [
        [[21.5] * 4],  # one unit that does not move
        [[21.5, 21.5, 21.5, 21.51]],  # one that moves by a step
        [[21.5]] * 3,  # several that are alike
        [[21.5, 21.5, 21.51]] * 3,
    ],
)
def test_little_evidence_is_a_guess_and_never_narrower_than_one(units):
    found = proposed(CELSIUS, *units)
    assert found.guess
    assert found.limit is not None
    low, high = (float(found.limit[key].split()[0]) for key in ("min", "max"))
    assert (low, high) == pytest.approx((19.34, 23.66), abs=0.02)


def test_one_unit_is_a_guess_however_often_it_was_read():
    found = proposed(CELSIUS, [21.5 + number % 7 / 100 for number in range(100)])
    assert (found.guess, found.limit) == (True, {"min": "19.33 °C", "max": "23.73 °C"})


def test_limits_stay_within_what_is_legal():
    assert limit(PERCENT, [97, 99]) == {"min": "86 %", "max": "100 %"}
    assert limit(CELSIUS, [-39.0], [20.0]) == {"min": "-40 °C", "max": "327.67 °C"}


def test_a_measured_value_that_does_not_move_is_a_guess():
    proposal = number_limit({"a": [40.0, 40.0]}, CELSIUS, BASIS, setting=False)
    assert (proposal.guess, proposal.limit) == (True, {"min": "35.99 °C", "max": "44.01 °C"})
    assert limit(CELSIUS, [0]) == {"min": "-0.06 °C", "max": "0.06 °C"}


def test_few_values_of_one_unit_have_a_range_that_means_something():
    assert limit(CELSIUS, [20.0, 20.0, 25.0]) == {"min": "9.99 °C", "max": "35.01 °C"}
    assert limit(CELSIUS, [19.5, 21.5]) == {"min": "15.49 °C", "max": "25.51 °C"}


def test_units_that_agree_prove_no_width():
    proposal = proposed(PERCENT, [97, 97], [97, 97], [97, 97])
    assert (proposal.guess, proposal.limit) == (True, {"min": "86 %", "max": "100 %"})


def test_settings_and_numbers_without_a_unit_are_equal():
    assert limit(CELSIUS, [5], setting=True) == {"equals": "5 °C"}
    assert limit(COUNT, [7, 7], [7]) == {"equals": "7"}


@pytest.mark.parametrize(
    ("form", "values", "may", "does"),
    [
        (COUNT, [1, 2, 3], True, False),
        (COUNT, [1, 1, 2], True, False),
        (COUNT, [0, 0, 0, 1], True, False),
        (COUNT, [1, 2, 3, 4, 5, 6, 7], True, True),
        (COUNT, [65530, 65532, 65534, 1, 2, 3, 4, 9], True, True),
        (COUNT, [0, 1, 2, 3, 0, 1, 2, 3], True, True),
        (COUNT, [0, 1, 0, 1, 0, 1, 0, 1], False, False),
        (COUNT, [0, 0, 1, 0, 0, 0, 0, 0], False, False),
        (COUNT, [5, 6, 5, 6], False, False),
        (COUNT, [3, 2, 3], False, False),
        (SECONDS, [10, 11, 12, 13, 14, 15, 16], True, True),
        (CELSIUS, [1, 2, 3, 4, 5, 6, 7], False, False),
        (FLOAT, [1, 2, 3, 4, 5, 6, 7], False, False),
    ],
)
def test_counters(form, values, may, does):
    assert (may_count({"a": values}, form), is_counter({"a": values}, form)) == (may, does)


def test_a_step_up_is_no_counter_for_sure():
    """A status that changed once has a limit that says so."""
    proposal = proposed(COUNT, [0, 0, 0, 1], [0, 0, 0, 0])
    assert (proposal.guess, proposal.limit) == (True, {"min": "0", "max": "65535"})
    assert proposed(COUNT, [*range(9)], [*range(5, 14)]).guess is False


def test_noise_is_hardly_ever_a_counter():
    noise = random.Random(5)
    rows = [[float(round(noise.gauss(2048, 6))) for _ in range(4)] for _ in range(2000)]
    assert not any(is_counter({"a": row}, COUNT) for row in rows)
    bits = [[float(noise.random() < 0.3) for _ in range(8)] for _ in range(2000)]
    assert not any(is_counter({"a": row}, COUNT) for row in bits)


def test_a_counter_may_be_anything_legal():
    assert limit(COUNT, [1, 2, 3]) == {"min": "0", "max": "65535"}


def test_floats_are_rounded_outwards_to_digits_that_say_something():
    assert limit(FLOAT, [36.59999847, 36.70000076, 36.65000153]) == {"min": "32.91 °C", "max": "40.39 °C"}


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
