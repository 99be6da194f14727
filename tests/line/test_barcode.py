"""What a typed or scanned line is."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.line.barcode import LONGEST, AtSlot, Badge, Match, Refusal, SaidWord, cleaned, read
from benchrig.station.checks import Reference
from benchrig.station.products import Product
from benchrig.station.slots import SlotSpec
from benchrig.station.station import Station
from benchrig.station.words import WORDS
from benchrig.values.pattern import Regex

LOGGER = "VFL3-000042"
STATION = Station(
    "line 3",
    slots={"1": SlotSpec(label="SLOT 1"), "left": SlotSpec()},
    products={
        "logger": Product(Regex(r"(?P<serial>VFL3-\d{6})"), "plan.yaml"),
        "box": Product(Regex(r"(?P<serial>PTB2-\d*)/(?P<address>[0-9A-Fa-f:-]*)"), "box.yaml"),
        "wide": Product(Regex(r"X[A-Z]\d"), "wide.yaml"),
        "wider": Product(Regex(r"XA\d*"), "wide.yaml"),
    },
    references={"golden": Reference("VFL3-000001")},
    people=Regex(r"P-\d{4}|BADGE (?P<name>.+)"),
)


def refused(typed: str) -> str:
    found = read(STATION, typed)
    assert isinstance(found, Refusal), found
    assert found.why
    assert found.do
    assert (found.text + found.why + found.do).isprintable()
    return found.why


def test_a_unit_with_its_values():
    assert read(STATION, LOGGER) == Match(LOGGER, "logger", {"serial": LOGGER})


@pytest.mark.parametrize("typed", [f"{LOGGER}\r", f"{LOGGER}\r\n", f" {LOGGER} ", f"{LOGGER}\t"])
def test_what_a_reader_adds_at_the_end_is_cut_off(typed):
    assert read(STATION, typed) == read(STATION, LOGGER)


@pytest.mark.parametrize("word", WORDS)
def test_words_are_words_in_small_letters_too(word):
    assert read(STATION, word) == read(STATION, word.lower()) == SaidWord(word)


def test_slots_badges_and_references():
    assert read(STATION, "SLOT 1") == read(STATION, "1") == AtSlot("1")
    assert read(STATION, "P-0007") == Badge("P-0007")
    assert read(STATION, "BADGE A. Berg") == Badge("A. Berg")
    assert read(STATION, "VFL3-000001") == Match("VFL3-000001", "logger", {"serial": "VFL3-000001"}, "golden")


@pytest.mark.parametrize("written", ["C4:1F:5A:20:00:01", "c41f5a200001", "C4-1F-5A-20-00-01"])
def test_an_address_is_the_same_however_it_is_written(written):
    found = read(STATION, f"PTB2-7/{written}")
    assert isinstance(found, Match)
    assert found.address == found.values["address"] == "C4:1F:5A:20:00:01"


def test_what_tells_a_unit_apart():
    assert Match("t", "p", {"serial": "s"}, address="a").unit == "s"
    assert Match("t", "p", address="a").unit == "a"
    assert Match("t", "p").unit == "t"


REFUSED = [
    ("", "nothing was scanned: the line is empty"),
    ("\r\n", "nothing was scanned: the line is empty"),
    ("VFL3\x1d000042", "the label has the control character 0x1D (GS) at character 5 of 11"),
    ("\x1bVFL3-000042", "the label has the control character 0x1B (escape) at character 1 of 12"),
    ("VFL3\t000042", "the label has the control character 0x09 (tab) at character 5 of 11"),
    ("VFL3-000042\x00\r", "the label has the control character 0x00 (NUL) at character 12 of 12"),
    ("VFL3-000042\x9b", "the label has the control character 0x9B at character 12 of 12"),
    ("ＶFL3-000042", "the label has the full-width character 'Ｖ' at character 1 of 11"),
    ("VFL3-00004２", "the label has the full-width character '２' at character 11 of 11"),
    ("VFL3\u3000000042", "the label has the full-width character '\\u3000' at character 5 of 11"),
    ("VFL3-\u200b000042", "the label has the invisible character U+200B at character 6 of 12"),
    ("\ufeffVFL3-000042", "the label has the invisible character U+FEFF at character 1 of 12"),
    ("VFL3\u202e-000042", "the label has the invisible character U+202E at character 5 of 12"),
    ("\udcffVFL3-000042", "the label has the invisible character U+DCFF at character 1 of 12"),
    ("7" * 10_240, "the line has 10240 characters, and a label has at most 512"),
    ("]C1VFL3-000042", "the label begins with ']C1', with which the reader tells the kind of code"),
    ("vfl3-000042", "capitals and small letters are the wrong way round"),
    ("VFL3-000042VFL3-000042", "the label was read twice, without Enter between"),
    ("VFL3-00042", "no product of this station has such a label"),
    ("VFL3-0000427", "no product of this station has such a label"),
    ("VFL3-٠٠٠٠٤٢", "no product of this station has such a label"),
    ("XA7", "the label fits the product 'wide' and the product 'wider'"),
    ("PTB2-7/", "expected the address in the label of a box, found nothing"),
    ("PTB2-7/C4:1F", "expected the address in the label of a box, found 'C4:1F'"),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "why"), REFUSED)
def test_what_is_refused_is_refused_in_words(typed, why):
    assert refused(typed) == why


def test_a_barcode_without_its_serial_number_is_refused():
    station = Station("line 3", products={"box": Product(Regex(r"B(?P<serial>\d*)"), "box.yaml")})
    found = read(station, "B")
    assert isinstance(found, Refusal)
    assert found.why == "expected the serial number in the label of a box, found nothing"


def test_a_pattern_may_have_the_identifier_of_the_reader():
    station = Station("line 3", products={"box": Product(Regex(r"\]C1(?P<serial>\d+)"), "box.yaml")})
    assert read(station, "]C17") == Match("]C17", "box", {"serial": "7"})


@given(st.text(st.characters(), max_size=600))
def test_any_text_is_read_or_refused_in_words_that_can_be_shown(typed):
    found = read(STATION, typed)
    if isinstance(found, Refusal):
        assert (found.text + found.why + found.do).isprintable()
        assert len(found.text) <= LONGEST


@given(st.text(st.characters(), max_size=40))
def test_a_unit_is_only_what_the_whole_pattern_fits(typed):
    text = f"VFL3-{typed}"
    found = read(STATION, text)
    if isinstance(found, Match):
        assert re.fullmatch(r"VFL3-[0-9]{6}", text.rstrip(" \t\r\n"))


@given(st.from_regex(r"\AVFL3-[0-9]{6}\Z"), st.characters(categories=["Cc", "Cf", "Cs"]), st.integers(0, 10))
def test_no_invisible_character_passes_inside(label, strange, place):
    text = label[:place] + strange + label[place:]
    assert isinstance(read(STATION, text), Refusal)


def test_cleaned_text_is_what_is_left():
    assert cleaned(" a b \r") == "a b"
