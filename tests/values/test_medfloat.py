"""What the worked examples do not show; the rules are of IEEE 11073-20601 as the HL7 PHD guide gives them."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tests.values.building import decoded, encoded, form, refusal


def test_a_special_mantissa_with_an_exponent_is_a_number():
    assert decoded("as: medfloat16", "FF F7") == 204.7
    assert decoded("as: medfloat32", "FF FF 7F FF") == 838860.7


@pytest.mark.parametrize("data", ["FF FF 7F 7F", "01 00 80 7F", "01 00 00 80", "FD FF 7F 10"])
def test_extreme_exponents_survive(data):
    value = decoded("as: medfloat32", data)

    assert decoded("as: medfloat32", encoded("as: medfloat32", value)) == value


def test_the_largest_number_is_a_float_of_its_size():
    assert decoded("as: medfloat32", "FD FF 7F 7F") == 8388605e127


@pytest.mark.parametrize(
    ("value", "data"),
    [
        (0, "00 00"),
        (20, "14 00"),
        (20470, "FF 17"),
        (-20480, "00 18"),
        (-2046, None),
        (2047, None),
        (3000, "2C 11"),
        (0.5, "05 F0"),
    ],
)
def test_encoding_takes_the_exponent_nearest_to_0(value, data):
    if data is None:
        assert "not exact" in refusal(form("as: medfloat16").encode, value)
    else:
        assert encoded("as: medfloat16", value) == data


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        (20481, "20481 mmHg is not exact within the precision of a medfloat16"),
        (Fraction(1, 3), "0.333333 mmHg is not exact within the precision of a medfloat16"),
        (1e-9, "1e-09 mmHg is not exact within the precision of a medfloat16"),
        ("high", "expected a number or one of NaN, NRes, +INF, -INF, found 'high'"),
        (False, "expected a number (medfloat16 mmHg), found false"),
    ],
)
def test_refuses_what_it_cannot_carry(value, sentence):
    assert refusal(form("{as: medfloat16, unit: mmHg}").encode, value) == sentence


def test_a_valid_range_counts_for_numbers_and_not_for_words():
    text = "{as: medfloat32, unit: °C, valid_min: 30, valid_max: 45}"

    assert refusal(form(text).decode, bytes.fromhex("14000000")) == "20 °C is outside the valid range 30 to 45 °C"
    assert decoded(text, "FF FF 7F 00") == "NaN"
