from __future__ import annotations

import pytest

from tests.values.building import decoded, encoded, form, refusal


@pytest.mark.parametrize(
    ("text", "data", "value"),
    [
        ("as: utf8", "C2 B0 43", "°C"),
        ("as: utf8", "", ""),
        ("as: utf8", "41 00", "A\0"),
        ("{as: utf8, length: 2}", "41 42", "AB"),
        ("as: utf16", "41 00 B0 00", "A°"),
        ("{as: utf16, order: big}", "00 41", "A"),
        ("as: utf16", "3D D8 00 DE", "\U0001f600"),
        ("as: hex", "DE AD", b"\xde\xad"),
        ("{as: hex, length: 1}", "00", b"\0"),
    ],
)
def test_decodes_and_encodes_back(text, data, value):
    assert decoded(text, data) == value
    assert encoded(text, value) == data


def test_hex_text_stands_for_bytes():
    assert encoded("as: hex", "DE ad 01") == "DE AD 01"


@pytest.mark.parametrize(
    ("text", "data", "sentence"),
    [
        ("as: utf8", "41 FF", "not utf8 text from byte 1 on: FF"),
        ("as: utf16", "41", "not utf16 text from byte 0 on: 41"),
        ("{as: utf8, length: 2}", "41", "the text has 2 bytes, found 1 byte: 41"),
        ("{as: hex, length: 2}", "", "the value has 2 bytes, found 0 bytes"),
    ],
)
def test_refuses_to_decode(text, data, sentence):
    assert refusal(form(text).decode, bytes.fromhex(data)) == sentence


@pytest.mark.parametrize(
    ("text", "value", "sentence"),
    [
        ("as: utf8", 5, "expected text, found 5"),
        ("as: utf8", "\ud800", "'\\ud800' has a character that is not Unicode text"),
        ("{as: utf8, length: 2}", "ABC", "the text has 2 bytes, found 3 bytes: 41 42 43"),
        (
            "as: hex",
            "DE A",
            "expected bytes as hex text, found the text 'DE A'; a byte has two hex digits, and one digit is left over",
        ),
        ("as: hex", "OK", "expected bytes as hex text, found the text 'OK'; for example: '01 A0'"),
        ("as: hex", 0xDE, "expected bytes as hex text, found the number 222; quote the hex digits: '222'"),
        ("{as: hex, length: 2}", b"\0", "the value has 2 bytes, found 1 byte: 00"),
    ],
)
def test_refuses_to_encode(text, value, sentence):
    assert refusal(form(text).encode, value) == sentence
