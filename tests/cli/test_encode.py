"""`benchrig encode`."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from benchrig.desk.writing import value_of
from benchrig.errors import MalformedValue
from benchrig.steps.payload import encode
from benchrig.values import catalogue
from benchrig.values.assigned import assigned
from benchrig.values.format import Format
from benchrig.values.value import Word
from tests.cli.calling import call
from tests.run.kit import PLANS
from tests.values.strategies import bytes_for


# Octets that tshark 4.0.17 and bluetooth-sig 0.6.0 read as these values.
@pytest.mark.parametrize(
    ("words", "form", "octets"),
    [
        (["23.45 °C"], "temperature", "29 09"),
        (["-1", "°C"], "temperature", "9C FF"),
        (["-273.15 °C"], "temperature", "4D 95"),
        (["not known"], "temperature", "00 80"),
        (["55 %"], "battery level", "37"),
        (["101345.3 Pa"], "pressure", "CD 76 0F 00"),
        (["2020-02-02T12:34:56"], "date time", "E4 07 02 02 0C 22 38"),
        (["heart_rate=60 bpm", "contact=contact", "rr_interval=1 s, 0.5 s"], "heart rate measurement", "16 3C 00 04 00 02"),
        (["interval_min=7.5 ms", "interval_max=250 ms", "latency=0", "timeout=5 s"], "peripheral preferred connection parameters", "06 00 C8 00 00 00 F4 01"),
        (["cold room"], "model number string", "63 6F 6C 64 20 72 6F 6F 6D"),
        (["DE AD"], "hex", "DE AD"),
    ],
)  # fmt: skip
def test_bytes_of_a_value(words, form, octets):
    result = call("encode", *words, "--as", form)
    assert (result.exit_code, result.stdout) == (0, f"{octets}\n")


def test_a_format_of_ones_own():
    assert call("encode", "-12.5", "mV", "--as", "sint16", "--scale", "0.1", "--unit", "mV").stdout == "83 FF\n"


def test_an_attribute_of_a_plan():
    result = call("encode", "number=3", "temperature=-2 °C", "supply=2985 mV", "--attribute", "log stream", "-p", PLANS / "end_of_line.yaml")  # fmt: skip
    assert result.stdout == "03 00 38 FF A9 0B\n"


def test_a_presentation_format():
    """Raw 3892 with exponent -3 is 3.892: an example of the SIG's older descriptor document (2017)."""
    assert call("encode", "3.892", "--presentation", "06FD0027010000").stdout == "34 0F\n"


def test_json_and_a_file(tmp_path):
    result = call("encode", "21.5 °C", "--as", "temperature", "--out", tmp_path / "value", "--json")
    assert json.loads(result.stdout)["raw"] == "6608"
    assert (tmp_path / "value").read_bytes() == b"\x66\x08"
    assert "2 bytes to" in result.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["1"], "no format given"),
        (["1", "--as", "temperature"], "has no unit"),
        (["1.005 °C", "--as", "temperature"], "write the nearest, "),
        (["400 °C", "--as", "temperature"], "does not fit"),
        (["warm", "--as", "temperature"], "words of this format"),
        (["heart=80", "--as", "heart rate measurement"], "no field is named 'heart'"),
        (["21,5 °C", "--as", "temperature"], "write a decimal point: 21.5 °C"),
        (["21,5", "--as", "float32"], "write a decimal point: 21.5"),
        (["2,5", "--as", "uint8"], "write a decimal point: 2.5"),
        (["noon", "--as", "current time"], "fields: date_time, day_of_week, "),
        (["1", "--presentation", "1DFE2F27010000"], "is reserved"),
        (["1", "--as", "uint8", "--out", "/nonexistent/value"], "there is no folder"),
    ],
)
def test_what_has_no_bytes(words, said):
    result = call("encode", *words)
    assert (result.exit_code, said in result.stderr) == (4, True), result.stderr


def typed(value: Any, form: Format) -> str:
    """A decoded value as a person would type it."""
    if isinstance(value, list):
        return ", ".join(typed(item, form.item) for item in value)  # type: ignore[attr-defined]
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)) and not isinstance(value, Word):
        return f"{Decimal(repr(value)):f} {form.unit}".strip()
    return str(value)


def fields(value: dict[str, Any], leaves: dict[str, Format], prefix: str = "") -> Iterator[str]:
    for name, item in value.items():
        if isinstance(item, dict):
            yield from fields(item, leaves, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}={typed(item, leaves[prefix + name])}"


VALUES = given(uuid=st.sampled_from(sorted(assigned().definitions)), data=st.data())


@settings(max_examples=25, deadline=None)
@VALUES
def test_what_is_decoded_can_be_typed_and_encoded_again(uuid, data):
    assert_typed(uuid, data)


@pytest.mark.slow
@settings(max_examples=1000, deadline=None)
@VALUES
def test_any_value_can_be_typed_and_encoded_again(uuid, data):
    assert_typed(uuid, data)


def assert_typed(uuid, data):
    form = catalogue.definition(uuid)
    assert form is not None
    try:
        value = form.decode(data.draw(bytes_for(form)))
    except MalformedValue:
        assume(False)
    words = [*fields(value, form.leaves())] if isinstance(value, dict) else [typed(value, form)]
    # a number of more digits than anybody types
    assume(not re.search(r"[0-9]{41}", " ".join(words)))
    assert form.decode(encode(form, value_of(form, words), None)) == value
