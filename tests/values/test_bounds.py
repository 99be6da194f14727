"""Bounds in the terms of the reading: dates, percent, words of the unit, numbers of other kinds, nearly equal ones."""

from __future__ import annotations

import struct
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.source.shape import Misfit
from benchrig.values.judging import BoundLimit, kind_of
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import Length
from benchrig.values.value import Word
from tests.values.building import form
from tests.values.test_limit import bound

FLOAT = form("{as: float32, unit: V}")


def number(**keys: object) -> BoundLimit:
    return Limit(**keys).bind("number", "")


@pytest.mark.parametrize(
    ("limit", "passes"),
    [
        ("{min: '2026-05-01 12:00:00'}", False),
        ("{min: '2026-05-01 11:00:00'}", True),
        ("{max: '2026-05-01T11:00:00'}", True),
        ("{equals: '2026-05-01 11:00:00'}", True),
        ("{one_of: ['2026-05-01 11:00:00']}", True),
        ("{contains: '2026-05'}", True),
    ],
)
def test_dates_are_compared_as_points_in_time(limit, passes):
    assert bound(limit, "time").passes("2026-05-01T11:00:00") is passes


@pytest.mark.parametrize(
    ("unit", "low", "high"), [("ppm", 380, 420), ("ppb", 380, 420), ("‰", 380, 420), ("%", 395, 405), ("mV", 380, 420)]
)
def test_percent_is_of_the_nominal_unless_the_reading_is_in_percent(unit, low, high):
    limit = bound(f"{{nominal: 400 {unit}, tolerance: 5 %}}", "number", unit)
    assert (limit.low, limit.high) == (low, high)


@pytest.mark.parametrize("key", ["min", "max", "nominal"])
def test_a_word_of_the_unit_as_a_bound_fails_and_is_no_mistake_of_the_plan(key):
    limit = number(**{key: Word("not known")} | ({"tolerance": 1} if key == "nominal" else {}))
    assert limit.judge(5).sentence == f"5 cannot be compared: the unit gave 'not known' for the {key}"
    assert not limit.passes(5)


def test_a_date_that_the_unit_does_not_know_as_a_bound():
    assert not Limit(min=Word("????-12-25T00:00:00")).bind("time").passes("2026-12-25T00:00:00")


@pytest.mark.parametrize("value", [Decimal("0.1"), Fraction(1, 10), 0.1])
def test_numbers_of_other_kinds(value):
    assert kind_of(value) == "number"
    for keys in (
        {"equals": Decimal("0.1")},
        {"min": Decimal("0.1")},
        {"max": Decimal("0.1")},
        {"one_of": [Decimal("0.1")]},
    ):
        assert number(**keys).passes(value)
        assert number(**keys).judge(value).passed


@pytest.mark.parametrize("limit", ["{min: 10}", "{max: 20}", "{nominal: 15, tolerance: 5}"])
def test_an_empty_list_satisfies_no_bound(limit):
    judgement = bound(limit, "list").judge([])
    assert not judgement.passed
    assert judgement.sentence.startswith("the list is empty: there is no value to compare with")


def test_no_bytes_have_no_bits():
    assert not bound("{bits: {mask: 1, value: 0}}", "bytes").passes(b"")


@pytest.mark.parametrize("value", [{"min": 0}, {"min": None}, {"min": None, "max": None}])
def test_a_length_that_everything_has(value):
    with pytest.raises(Misfit, match="every length is at least 0"):
        Length.from_source(value)


# --- floats of 32 bits


@pytest.mark.parametrize("limit", ["{max: 0.1 V}", "{min: 0.1 V}", "{equals: 100 mV}"])
def test_a_float_of_32_bits_is_the_decimal_that_was_meant(limit):
    assert FLOAT.decode(struct.pack("<f", 0.1)) == 0.1
    assert bound(limit, "number", "V").passes(FLOAT.decode(struct.pack("<f", 0.1)))


def test_the_next_float_of_32_bits_is_another_one():
    above = FLOAT.decode((int.from_bytes(struct.pack("<f", 0.1), "little") + 1).to_bytes(4, "little"))
    assert not bound("{max: 0.1 V}", "number", "V").passes(above)


@given(st.floats(width=32, allow_nan=False, allow_infinity=False))
def test_every_float_of_32_bits_is_told_from_all_others(value):
    data = struct.pack("<f", value)
    assert FLOAT.encode(FLOAT.decode(data)) == data


@given(st.floats(allow_nan=False, allow_infinity=False), st.floats(allow_nan=False, allow_infinity=False))
def test_a_sentence_never_prints_both_sides_alike(one, other):
    for near in (other, one * (1 + 2**-40)):
        judgement = number(max=Decimal(repr(one))).judge(near)
        if not judgement.passed:
            found, _, rest = judgement.sentence.partition(" is above the maximum ")
            assert found != rest.partition(" by ")[0]
