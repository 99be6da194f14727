"""What a plan says to write becomes bytes; formats as in the Bluetooth SIG's GATT specification supplement."""

from __future__ import annotations

from contextlib import suppress
from decimal import Decimal

import pytest
from hypothesis import given

from benchrig.errors import UnfitValue
from benchrig.source.shape import LooseText, Misfit
from benchrig.steps.attribute import AttributeName
from benchrig.steps.payload import encode, hex_bytes, misfit_of, same_value
from benchrig.steps.write import Write
from benchrig.values.limit import Limit
from tests.values.building import form
from tests.values.strategies import JUNK

TEMPERATURE = form("{as: sint16, scale: 0.01, unit: °C}")
RECORD = form("{fields: [{name: number, as: uint16}, {name: t, as: sint16, scale: 0.01, unit: °C}]}")
TEXT = form("{as: utf8}")
WRITE = Write(write=AttributeName("0x2A00"), value=1)
NAMED = form("{fields: [{name: name, as: utf8}]}")


@pytest.mark.parametrize(
    ("value", "data"),
    [
        ("8 °C", "20 03"),
        ("-12.34 °C", "2E FB"),
        ("281.15 K", "20 03"),
        ("46.4 °F", "20 03"),
        (LooseText("8 °C"), "20 03"),
    ],
)
def test_a_quantity_in_the_unit_of_the_attribute(value, data):
    assert encode(TEMPERATURE, value, None).hex(" ").upper() == data


def test_fields_each_in_their_unit():
    assert encode(RECORD, {"number": 258, "t": "0.01 °C"}, None) == bytes.fromhex("0201 0100")


def test_digits_from_outside_are_text_for_a_text_attribute():
    for digits in ("00123", "54321", "1.5", "true", "0x12"):
        assert encode(TEXT, LooseText(digits), None) == digits.encode()
        assert encode(NAMED, {"name": LooseText(digits)}, None) == digits.encode()
    assert encode(form("{as: hex}"), LooseText("5432"), None) == b"\x54\x32"


@pytest.mark.parametrize("raw", ["01 A0", "01a0", "01A0"])
def test_raw_bytes_pass_any_format(raw):
    assert encode(TEMPERATURE, None, raw) == encode(None, None, raw) == b"\x01\xa0"


def test_without_a_format_a_value_is_hex_text():
    assert encode(None, "DE AD", None) == b"\xde\xad"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (8, "8 has no unit"),
        (Decimal("8.5"), "8.5 has no unit"),
        ("8 V", "8 V is a voltage, not a temperature"),
        ("8 furlongs", "unknown unit 'furlongs'"),
        ("400 °C", "400"),
        ("8.001 °C", "8.001"),
    ],
)
def test_what_cannot_be_written_is_said_before_the_run(value, said):
    misfit = misfit_of(WRITE, TEMPERATURE, value, None)
    assert isinstance(misfit, Misfit)
    assert said in misfit.message
    assert misfit.path == ("value",)


def test_a_unit_that_the_attribute_does_not_have():
    assert misfit_of(WRITE, form("{as: uint8}"), "8 °C", None)


@pytest.mark.parametrize("text", ["0", "0x01", "zz", None, 5, ["01"]])
def test_what_is_no_hex_text(text):
    with pytest.raises(UnfitValue, match="expected bytes as hex text"):
        hex_bytes(text)


@pytest.mark.parametrize("kind", [TEMPERATURE, RECORD, TEXT, None])
@given(value=JUNK)
def test_anything_becomes_bytes_or_is_refused(kind, value):
    with suppress(UnfitValue):
        assert isinstance(encode(kind, value, None), bytes)


def test_a_value_that_comes_back_in_other_bytes_is_the_same():
    sfloat = form("{as: medfloat16}")
    assert same_value(sfloat, bytes.fromhex("0a00"), bytes.fromhex("0110"))  # 10 × 10^0 and 1 × 10^1
    assert not same_value(sfloat, bytes.fromhex("0a00"), bytes.fromhex("0b00"))
    assert not same_value(sfloat, bytes.fromhex("0a00"), b"")
    assert not same_value(None, b"\x01", b"\x01\x00")


@pytest.mark.parametrize("expect", [{}, {"att_error": Limit(equals="invalid attribute value length")}])
def test_no_value_is_longer_than_an_attribute_holds(expect):
    """Core Vol 3 Part F 3.2.9. A unit that refuses more is not to blame, but a plan may ask for that refusal."""
    write = Write(write=AttributeName("0x2A00"), value="x", expect=expect)
    assert misfit_of(write, TEXT, "x" * 512, None) is None
    longer = misfit_of(write, TEXT, "x" * 513, None)
    assert (longer is None) is bool(expect)
