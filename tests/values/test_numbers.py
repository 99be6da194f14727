from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from benchrig.values.value import Word
from tests.values.building import decoded, encoded, form, refusal

TEMPERATURE = "{as: sint16, scale: 0.01, unit: °C, valid_min: -273.15, valid_max: 327.67, words: {0x8000: not known}}"
SWITCH = "{as: uint8, words: {0: closed, 1: open}, only_words: true}"


@pytest.mark.parametrize(
    ("text", "data", "value"),
    [
        ("as: uint8", "FF", 255),
        ("as: sint8", "FF", -1),
        ("as: uint16", "01 02", 0x0201),
        ("{as: uint16, order: big}", "01 02", 0x0102),
        ("as: uint24", "01 02 03", 0x030201),
        ("as: sint24", "00 00 80", -(2**23)),
        ("as: uint32", "FF FF FF FF", 2**32 - 1),
        ("as: uint40", "01 00 00 00 80", 0x8000000001),
        ("as: sint48", "FF FF FF FF FF FF", -1),
        ("as: uint64", "FF FF FF FF FF FF FF FF", 2**64 - 1),
        ("as: uint128", "00" * 15 + "80", 2**127),
        ("as: sint12", "FF 0F", -1),
        ("{as: uint8, scale: 2, offset: 1}", "03", 7),
        ("{as: sint16, scale: 0.01}", "9C FF", -1.0),
        ("{as: uint8, scale: 0.5, offset: -40}", "01", -39.5),
        ("{as: uint16, scale: 1/1024}", "00 02", 0.5),
        ("{as: uint8, scale: -1}", "05", -5),
        ("as: float32", "00 00 80 3F", 1.0),
        ("{as: float32, order: big}", "3F 80 00 00", 1.0),
        ("as: float64", "00 00 00 00 00 00 F0 BF", -1.0),
        ("as: float32", "00 00 80 7F", "+INF"),
        ("as: float32", "00 00 80 FF", "-INF"),
        ("as: float64", "00 00 00 00 00 00 F8 7F", "NaN"),
        ("as: boolean", "01", True),
        ("as: boolean", "00", False),
    ],
)  # fmt: skip
def test_decodes_and_encodes_back(text, data, value):
    found = decoded(text, data)

    assert (found, type(found)) == (value, Word if isinstance(value, str) else type(value))
    assert encoded(text, value) == bytes.fromhex(data).hex(" ").upper()


def test_scaling_is_exact_where_a_float_product_is_not():
    assert -27315 * 0.01 != -273.15

    assert decoded("{as: sint16, scale: 0.01}", "4D 95") == -273.15


@pytest.mark.parametrize("value", [21.5, Decimal("21.5"), Fraction(43, 2)])
def test_encodes_every_kind_of_number(value):
    assert encoded(TEMPERATURE, value) == "66 08"


@pytest.mark.parametrize(
    ("text", "value", "sentence"),
    [
        ("as: uint8", 256, "256 does not fit a uint8: 0 to 255"),
        ("as: uint8", -1, "-1 does not fit a uint8: 0 to 255"),
        ("as: uint8", True, "expected a number (uint8), found true"),
        ("as: uint8", None, "expected a number (uint8), found nothing"),
        ("as: uint8", "12", "expected a number (uint8), found '12'"),
        ("as: uint8", [1], "expected a number (uint8), found a list"),
        ("as: uint8", float("nan"), "expected a number (uint8), found nan"),
        ("as: uint8", Decimal("1e9999"), "expected a number (uint8), found 1E+9999, which no format can carry"),
        ("{as: uint8, scale: 15, unit: min}", 7, "7 min cannot be carried in steps of 15; write the nearest, 0 min"),
        (TEMPERATURE, 400, "400 °C does not fit a sint16: -327.68 to 327.67 °C"),
        (TEMPERATURE, -300, "-300 °C (0x8AD0) is outside the valid range -273.15 to 327.67 °C"),
        (SWITCH, "maybe", "expected one of the words, found 'maybe'; words of this format: 0 closed, 1 open"),
        ("as: float32", 1e39, "1e+39 does not fit a float32"),
        ("as: float64", 10**400, "a number of more than 40 digits does not fit a float64"),
        ("{as: float32, unit: V, valid_max: 5}", 5.5, "5.5 V is outside the valid range up to 5 V"),
        ("{as: float32, valid_min: 0.5}", 0.25, "0.25 is outside the valid range from 0.5"),
        ("as: float32", "warm", "expected a number, NaN, +INF or -INF, found 'warm'"),
        ("as: boolean", 1, "expected true or false, found 1"),
    ],
)
def test_refuses_to_encode(text, value, sentence):
    assert refusal(form(text).encode, value) == sentence


def test_a_number_too_long_to_print_is_refused_too():
    assert (
        refusal(form("as: uint8").encode, 10**5000) == "a number of more than 40 digits does not fit a uint8: 0 to 255"
    )


@pytest.mark.parametrize(
    ("text", "data", "sentence"),
    [
        ("as: uint16", "01", "a uint16 has 2 bytes, found 1 byte: 01"),
        ("as: uint16", "01 02 03", "a uint16 has 2 bytes, found 3 bytes: 01 02 03"),
        ("as: uint8", "", "a uint8 has 1 byte, found 0 bytes"),
        ("as: uint12", "00 10", "bits above the lowest 12 are set in 0x1000"),
        (TEMPERATURE, "4C 95", "-273.16 °C (0x954C) is outside the valid range -273.15 to 327.67 °C"),
        (SWITCH, "02", "0x02 is reserved; write an assigned value: 0 closed, 1 open"),
        ("{as: uint8, rfu: 0xF0}", "21", "reserved bits are set in 0x21; 0xF0 must be 0"),
        ("as: float32", "00 00", "a float32 has 4 bytes, found 2 bytes: 00 00"),
        ("as: boolean", "02", "0x02 is not a boolean: 0 is false, 1 is true"),
    ],
)
def test_refuses_to_decode(text, data, sentence):
    assert refusal(form(text).decode, bytes.fromhex(data)) == sentence


def test_a_word_stands_in_place_of_the_number_whatever_the_range():
    value = decoded(TEMPERATURE, "00 80")

    assert isinstance(value, Word)
    assert encoded(TEMPERATURE, "not known") == "00 80"


def test_a_word_may_be_given_for_a_negative_raw_number():
    assert decoded("{as: sint8, words: {-128: not known}}", "80") == "not known"


def test_of_two_raw_numbers_with_one_word_the_first_is_encoded():
    assert encoded("{as: uint8, words: {3: bad, 2: bad}}", "bad") == "03"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (TEMPERATURE, "sint16 × 0.01 °C"),
        ("{as: uint16, scale: 1/1024, unit: s}", "uint16 × 1/1024 s"),
        ("{as: uint8, scale: 0.5, offset: -40, unit: °C}", "uint8 × 0.5 - 40 °C"),
        ("as: uint8", "uint8"),
        ("{as: float32, unit: V}", "float32 V"),
        ("{as: medfloat16, unit: mmHg}", "medfloat16 mmHg"),
        ("{as: utf8, length: 8}", "utf8 of 8 bytes"),
        ("as: hex", "hex"),
        ("as: boolean", "boolean"),
        ("as: date_time", "date_time"),
        ("{fields: [{name: a, as: uint8}, {name: b, as: hex}]}", "struct of a, b"),
    ],
)
def test_describes_itself(text, words):
    assert form(text).describe() == words


@pytest.mark.parametrize(
    ("text", "kind", "size", "unit"),
    [
        (TEMPERATURE, "number", 2, "°C"),
        (SWITCH, "text", 1, ""),
        ("as: boolean", "boolean", 1, ""),
        ("as: utf8", "text", None, ""),
        ("{as: hex, length: 3}", "bytes", 3, ""),
        ("as: date_time", "time", 7, ""),
        ("{as: medfloat32, unit: °C}", "number", 4, "°C"),
        ("{fields: [{name: a, as: uint8}, {name: b, as: uint32}]}", "struct", 5, ""),
        ("{fields: [{name: a, as: uint8}, {name: b, as: utf8}]}", "struct", None, ""),
    ],
)
def test_says_its_kind_size_and_unit(text, kind, size, unit):
    found = form(text)

    assert (found.kind, found.size, found.unit) == (kind, size, unit)


@pytest.mark.parametrize("name", ["float32", "float64"])
@pytest.mark.parametrize(("end", "number"), [("valid_max", 0.1), ("valid_min", 0.3), ("valid_max", -0.7)])
def test_a_range_of_floats_holds_its_ends(name, end, number):
    text = f"{{as: {name}, {end}: {number}}}"
    data = encoded(text, number)
    assert decoded(text, data) == number
