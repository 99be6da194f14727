"""Ranges of Date Time (0x2A08): Bluetooth SIG GSS 2026."""

from __future__ import annotations

import pytest

from benchrig.values.value import Word
from tests.values.building import decoded, encoded, form, refusal


@pytest.mark.parametrize(
    ("data", "value"),
    [
        ("2E 06 01 01 00 00 00", "1582-01-01T00:00:00"),
        ("0F 27 0C 1F 17 3B 3B", "9999-12-31T23:59:59"),
        ("E8 07 02 1D 00 00 00", "2024-02-29T00:00:00"),
    ],
)
def test_a_known_time_is_plain_iso_text(data, value):
    assert decoded("as: date_time", data) == value
    assert not isinstance(decoded("as: date_time", data), Word)
    assert encoded("as: date_time", value) == data


@pytest.mark.parametrize(
    ("data", "value"),
    [("00 00 0C 19 0E 05 1E", "????-12-25T14:05:30"), ("EA 07 00 00 00 00 00", "2026-??-??T00:00:00")],
)
def test_an_unknown_part_makes_it_a_word(data, value):
    assert decoded("as: date_time", data) == Word(value)
    assert isinstance(decoded("as: date_time", data), Word)
    assert encoded("as: date_time", value) == data


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        ("2D 06 01 01 00 00 00", "the year 1581 is outside 1582 to 9999"),
        ("EA 07 0D 01 00 00 00", "the month 13 is outside 1 to 12"),
        ("EA 07 01 20 00 00 00", "the day 32 is outside 1 to 31"),
        ("EA 07 01 01 18 00 00", "the hour 24 is outside 0 to 23"),
        ("EA 07 01 01 00 3C 00", "the minute 60 is outside 0 to 59"),
        ("EA 07 01 01 00 00 3C", "the second 60 is outside 0 to 59"),
        ("EA 07 02 1D 00 00 00", "2026-02-29 is not a day of the calendar"),
        ("EA 07", "a date and time has 7 bytes, found 2 bytes: EA 07"),
    ],
)
def test_refuses_to_decode(data, sentence):
    assert refusal(form("as: date_time").decode, bytes.fromhex(data)) == sentence


def test_a_space_may_stand_for_the_t():
    assert encoded("as: date_time", "2026-12-25 14:05:30") == "EA 07 0C 19 0E 05 1E"


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ("noon", "expected a date and time as text, found 'noon'; for example: '2026-12-25T14:05:30'"),
        (20261225, "expected a date and time as text, found 20261225; for example: '2026-12-25T14:05:30'"),
        ("2026-00-01T00:00:00",
         "'2026-00-01T00:00:00' has a year, month or day of 0; write ???? or ?? for not known"),
        ("2026-04-31T00:00:00", "2026-04-31 is not a day of the calendar"),
    ],
)  # fmt: skip
def test_refuses_to_encode(value, sentence):
    assert refusal(form("as: date_time").encode, value) == sentence
