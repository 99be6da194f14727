from __future__ import annotations

import pytest

from tests.values.building import decoded, encoded, form, refusal

LOGGER = """
fields:
  - {name: flags, as: uint8, rfu: 0xC0, bits: {alarm: 0x10, door: {mask: 0x0C, words: {0: closed, 1: ajar, 2: open}}}}
  - {name: temperature, as: sint8, unit: °C, unless: 0x01}
  - {name: temperature, as: sint16, unit: °C, when: 0x01}
  - {name: battery, as: uint8, unit: '%', when: 0x02}
  - {name: history, as: sint8, unit: °C, when: 0x20, list: true}
"""
CLOSED = {"flags": 0, "alarm": False, "door": "closed", "temperature": 5}


@pytest.mark.parametrize(
    ("data", "value"),
    [
        ("00 05", CLOSED),
        ("01 05 00", {**CLOSED, "flags": 1}),
        ("12 05 64", {**CLOSED, "flags": 0x12, "alarm": True, "battery": 100}),
        ("28 05 04 FF", {**CLOSED, "flags": 0x28, "door": "open", "history": [4, -1]}),
    ],
)
def test_decodes_and_encodes_back(data, value):
    assert decoded(LOGGER, data) == value
    assert encoded(LOGGER, value) == data


@pytest.mark.parametrize(
    ("value", "data"),
    [
        ({"temperature": 5}, "00 05"),
        ({"temperature": 300}, "01 2C 01"),
        ({"temperature": 5, "alarm": True, "door": "open"}, "18 05"),
        ({"history": [1], "temperature": 5, "battery": 9}, "22 05 09 01"),
    ],
)
def test_the_flags_follow_from_what_is_there(value, data):
    assert encoded(LOGGER, value) == data


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ("", "the value ends within 'flags': expected 1 byte, found 0"),
        ("01 05", "the value ends within 'temperature': expected 2 bytes, found 1"),
        ("00 05 06 07", "2 bytes left over after 'temperature': 06 07"),
        ("20 05", "history: expected at least 1 item, found none"),
        ("40 05", "flags: reserved bits are set in 0x40; 0xC0 must be 0"),
        ("0C 05", "door: 0x03 is reserved; write an assigned value: 0 closed, 1 ajar, 2 open"),
    ],
)
def test_refuses_to_decode(data, sentence):
    assert refusal(form(LOGGER).decode, bytes.fromhex(data)) == sentence


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        (5, "expected a mapping of fields, found 5; fields: flags, alarm, door, temperature, battery, history"),
        ({"temprature": 5}, "no field is named 'temprature'; did you mean 'temperature'?"),
        ({"alarm": True}, "the field 'temperature' is missing with the flags 0x10; "
                          "fields: flags, alarm, door, temperature, battery, history"),
        ({"flags": 0, "temperature": 5, "battery": 9}, "the field 'battery' is given, but not there with the flags 0x00"),
        ({"flags": 2, "temperature": 5}, "the field 'battery' is missing with the flags 0x02; "
                                         "fields: flags, alarm, door, temperature, battery, history"),
        ({"flags": 0, "temperature": 5, "alarm": True},
         "'alarm' is true, but 'flags' says false; leave out 'flags'; it follows from its parts"),
        ({"temperature": "warm"}, "temperature: expected a number (sint16 °C), found 'warm'"),
        ({"temperature": 5, "door": "locked"},
         "door: expected one of the words, found 'locked'; words of this format: 0 closed, 1 ajar, 2 open"),
        ({"temperature": 5, "history": 3}, "history: expected a list, found 3"),
        ({"temperature": 5, "history": []}, "history: expected at least 1 item, found none"),
        ({"flags": "none", "temperature": 5}, "flags: expected a number (uint8), found 'none'"),
        ({"flags": None, "alarm": True, "temperature": 5}, "flags: expected a number (uint8), found nothing"),
    ],
)  # fmt: skip
def test_refuses_to_encode(value, sentence):
    assert refusal(form(LOGGER).encode, value) == sentence


def test_fields_are_addressed_by_name_with_their_units():
    assert form(LOGGER).fields() == {
        "flags": "", "alarm": "", "door": "", "temperature": "°C", "battery": "%", "history": "°C"
    }  # fmt: skip
    assert {name: leaf.kind for name, leaf in form(LOGGER).leaves().items()} == {
        "flags": "number", "alarm": "boolean", "door": "text", "temperature": "number", "battery": "number",
        "history": "list",
    }  # fmt: skip


def test_a_structure_in_a_structure_has_dotted_names():
    text = "{fields: [{name: at, as: local time information}, {name: level, as: battery level}]}"

    assert form(text).fields() == {"at.time_zone": "min", "at.dst_offset": "", "level": "%"}
    assert decoded(text, "04 04 55") == {"at": {"time_zone": 60, "dst_offset": "daylight time"}, "level": 85}


def test_bits_alone_make_a_structure_with_flags():
    text = "{as: uint8, bits: {ready: 0x01, level: 0x0E}}"

    assert decoded(text, "07") == {"flags": 7, "ready": True, "level": 3}
    assert encoded(text, {"ready": True, "level": 3}) == "07"


def test_bits_without_a_name_are_kept_by_the_number_they_stand_in():
    assert encoded("{as: uint8, bits: {ready: 0x01}}", {"flags": 0x81}) == "81"


def test_the_order_of_a_structure_is_that_of_its_fields():
    text = "{order: big, fields: [{name: a, as: uint16}, {name: b, as: uint16, order: little}, {name: c, as: float32}]}"

    assert decoded(text, "00 01 01 00 3F 80 00 00") == {"a": 1, "b": 1, "c": 1.0}


def test_a_list_that_is_always_there_may_be_empty():
    text = "{fields: [{name: handles, as: uint16, list: true}]}"

    assert decoded(text, "") == {"handles": []}
    assert encoded(text, {"handles": []}) == ""
