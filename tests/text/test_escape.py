"""Text from a device, made safe and bounded."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from benchrig.text.escape import ascii_text, hex_text, plain, plain_lines, value_text
from tests.record.strategies import device_text, json_values


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("fridge 7 °C", "fridge 7 °C"),
        ("\x1b[31m", r"\x1b[31m"),
        ("a\r\nb\tc", r"a\r\nb\tc"),
        ("\x9b2J", r"\x9b2J"),
        ("\u202eevil", r"\u202eevil"),
        ("\u2066x\u2069", r"\u2066x\u2069"),
        ("\u200b", r"\u200b"),
        ("\ud800", r"\ud800"),
        ("\ufffe", r"\ufffe"),
        ("\U000e0041", r"\U000e0041"),
        ("漢字", "漢字"),
    ],
)
def test_what_cannot_be_seen_is_shown_as_an_escape(text: str, shown: str) -> None:
    assert plain(text) == shown


@given(device_text() | st.text(st.characters()), st.integers(1, 50))
def test_plain_text_is_printable_and_bounded(text: str, limit: int) -> None:
    shown = plain(text, limit)
    assert shown.isprintable()
    assert len(shown) <= limit


@given(device_text() | st.text(st.characters()))
def test_plain_text_is_legal_in_xml(text: str) -> None:
    """lxml refuses every character that XML 1.0 (section 2.2) does not have."""
    etree.Element("x").text = plain(text)


@given(st.text(st.characters(categories=["L", "N", "P", "S"]), max_size=200))
def test_ordinary_text_stays_as_it_is(text: str) -> None:
    assert plain(text) == text


def test_a_cut_is_marked() -> None:
    assert plain("x" * 11, 10) == "x" * 9 + "…"
    assert plain("x" * 10, 10) == "x" * 10


@given(device_text())
def test_ascii_text_is_ascii(text: str) -> None:
    assert ascii_text(plain(text)).isascii()


def test_ascii_text_keeps_units_readable() -> None:
    assert ascii_text("-40 °C ± 5 µA …") == "-40 deg C +/- 5 uA ..."


def test_of_many_lines_the_last_are_kept() -> None:
    assert plain_lines("a\nb\x07\nc", most=2) == ["…", r"b\x07", "c"]


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (None, ""), (True, "true"), (31.5, "31.5"), (8.0, "8"), (-1, "-1"), ("ok", "ok"), ("", "''"), (" ", "' '"),
        ([1, "a"], '[1, "a"]'), ({"a": None}, '{"a": null}'), ("a\nb", r"a\nb"),
    ],
)  # fmt: skip
def test_values_for_people(value: object, shown: str) -> None:
    assert value_text(value) == shown


@given(json_values(), st.integers(1, 300))
def test_any_value_is_printable_and_bounded(value: object, limit: int) -> None:
    shown = value_text(value, limit)
    assert shown.isprintable()
    assert len(shown) <= limit


@pytest.mark.parametrize(
    ("raw", "shown"),
    [("", "(no bytes)"), ("2909", "29 09"), ("00" * 32, "00 " * 31 + "00"), ("00" * 33, "00 " * 32 + "… (33 bytes)")],
)
def test_bytes_in_pairs(raw: str, shown: str) -> None:
    assert hex_text(raw) == shown
