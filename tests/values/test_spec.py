from __future__ import annotations

from fractions import Fraction

import pytest

from benchrig.source.shape import Misfit
from benchrig.values.format import FormatSpec, build_format, format_names, spec_from
from benchrig.values.spec import Exact, Words
from tests.values.building import form, mistake, spec


@pytest.mark.parametrize(
    ("value", "number"),
    [(2, Fraction(2)), ("1/1024", Fraction(1, 1024)), ("0.01", Fraction(1, 100)), ("-1 / 3", Fraction(-1, 3))],
)
def test_exact_numbers(value, number):
    assert Exact.from_source(value) == number


@pytest.mark.parametrize("value", ["1/0", "1e3", "", "a", True, None, [1], "1" * 50])
def test_what_is_no_exact_number(value):
    with pytest.raises(Misfit):
        Exact.from_source(value)


def test_keys_of_words_may_be_numbers_or_their_text():
    assert Words.from_source({"0x10": "ten", 3: "three", "-1": "none"}) == {16: "ten", 3: "three", -1: "none"}


def test_a_spec_in_yaml_is_the_same_in_json():
    assert spec("{as: sint16, scale: 0.01, words: {0x8000: not known}, valid_min: -1}") == spec_from(
        {"as": "sint16", "scale": "0.01", "words": {"0x8000": "not known"}, "valid_min": "-1"}
    )


@pytest.mark.parametrize("name", format_names())
def test_every_format_name_is_a_format(name):
    assert build_format(FormatSpec(as_=name)).describe() == name


def test_an_assigned_name_reuses_its_definition():
    assert form("as: Temperature").describe() == "sint16 × 0.01 °C"


def test_an_empty_spec_is_left_to_its_user():
    assert spec("{}").given() == []
    with pytest.raises(Misfit, match="a format is missing"):
        build_format(FormatSpec())


def with_flags(field: str) -> str:
    return "fields: [{name: flags, as: uint8}, " + field + "]"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("as: unit8", "1:5: unknown format 'unit8'; did you mean 'uint8'"),
        ("as: int16", "1:5: unknown format 'int16'; did you mean 'sint16'?"),
        ("{as: utf8, scale: 2}", "1:19: 'scale' does not apply to utf8; write one of: length"),
        ("{as: boolean, unit: V}", "1:21: 'unit' does not apply to boolean"),
        ("{as: temperature, unit: K}", "1:25: 'unit' does not apply to temperature"),
        ("{as: uint8, scale: 0}", "1:20: a scale of 0 cannot be used"),
        ("{as: uint8, unit: furlong}", "1:19: unknown unit 'furlong'"),
        ("{as: float32, unit: furlong}", "1:21: unknown unit 'furlong'"),
        ("{as: uint8, rfu: 0x100}", "1:18: the mask does not fit a number of 8 bits"),
        ("{as: uint8, words: {256: far}}", "1:20: 256 does not fit a uint8"),
        ("{as: uint8, words: {0: 5 V}}", "1:24: expected a word for 0, found the text '5 V'"),
        ("{as: uint8, words: {closed: 0}}", "1:29: expected a word for closed, found the number 0; write the number first: {0: closed}"),
        ("{as: uint8, only_words: true}", "1:25: only_words without words; add words"),
        ("{as: uint8, valid_min: 2, valid_max: 1}", "1:24: valid_min is above valid_max, so no value is legal"),
        ("{as: hex, length: 0}", "1:19: a value has 1 to 512 bytes, not 0"),
        ("{as: uint8, bits: {a: 5}}", "1:23: expected a mask of one run of bits, found the number 5"),
        ("{as: uint8, bits: {a: 0x100}}", "1:23: the mask 0x100 does not fit 8 bits"),
        ("{as: uint8, bits: {a: 1, b: 3}}", "1:29: the mask covers bits that another part or 'rfu' has"),
        ("{as: uint8, bits: {A: 1}}", "1:23: the text 'A' cannot be the name of a field"),
        ("{as: uint8, bits: {a: {mask: 1, words: {2: x}}}}", "1:40: 2 does not fit 1 bits"),
        ("{as: sint8, bits: {a: 1}}", "1:19: bits need an unsigned number without scale, offset and words"),
        ("{as: uint8, fields: []}", "1:6: 'as' and 'fields' exclude each other"),
        ("fields: []", "1:9: a structure without fields"),
        ("fields: [{name: a}]", "1:10: a format is missing"),
        ("fields: [{name: a, as: utf8}, {name: b, as: uint8}]", "1:31: nothing can follow 'a'"),
        ("fields: [{name: a, as: uint8}, {name: a, as: uint8}]", "1:39: the name 'a' is taken"),
        ("fields: [{name: a, as: uint8, when: 1}]", "1:37: 'when' needs a field named 'flags' before this one"),
        ("fields: [{name: flags, as: sint8}]", "1:17: the field 'flags' must be an unsigned integer that is always there"),
        ("fields: [{name: a, as: utf8, list: true}]", "1:36: only a format of fixed size can be a list"),
        ("fields: [{name: a, as: hex, bits: {b: 1}}]", "1:35: 'bits' does not apply to hex; write one of: length"),
        ("fields: [{name: a, as: uint8, list: true, bits: {b: 1}}]", "1:49: only an integer has bits"),
        (with_flags("{name: a, as: uint8, when: 0x100}"), "1:63: the mask does not fit flags of 8 bits"),
        (with_flags("{name: a, as: uint8, when: 1, unless: 1}"), "1:74: the same bit is in 'when' and 'unless'"),
        (with_flags("{name: a, as: uint8, when: 1}, {name: a, as: uint8, when: 2}"), "1:74: the name 'a' is taken"),
        (with_flags("{name: a, as: uint8, when: 1}, {name: a, as: utf8, unless: 1}"),
         "1:74: the fields named 'a' differ in unit or kind"),
    ],
)  # fmt: skip
def test_says_what_is_wrong_and_where(text, said):
    assert mistake(text).startswith(said)
