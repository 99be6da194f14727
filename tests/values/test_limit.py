"""Limits: which values pass, what is said of the others, and what cannot be a limit of a reading."""

from __future__ import annotations

import math
from contextlib import suppress
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from benchrig.errors import PlanError
from benchrig.source.problem import Problems
from benchrig.source.shape import LooseText, Misfit, Reader
from benchrig.source.yaml import read_text
from benchrig.values.crc import Crc
from benchrig.values.judging import BoundLimit, kind_of
from benchrig.values.limit import Limit
from benchrig.values.limit_keys import KEYS, Bits, Length
from benchrig.values.value import Word
from tests.values.building import form

KINDS = ["number", "text", "bytes", "boolean", "time", "list", "any"]


def limit(text: str) -> Limit:
    problems = Problems()
    read = Reader(problems).read(read_text(text, "test.yaml", problems), Limit)
    problems.raise_if_any()
    return read


def bound(text: str, kind: str = "number", unit: str = "") -> BoundLimit:
    return limit(text).bind(kind, unit)


# --- what passes, and the sentence when it does not

SENTENCES = [
    # kind, unit, limit, good, bad, what is said of the bad one
    ("number", "°C", "{min: 15 °C}", 15, 14.9, "14.9 °C is below the minimum 15 °C by 0.1 °C"),
    ("number", "°C", "{max: 30 °C}", 30, 30.5, "30.5 °C is above the maximum 30 °C by 0.5 °C"),
    ("number", "s", "{max: 250 ms}", 0.25, 0.251, "0.251 s is above the maximum 0.25 s by 0.001 s"),
    ("number", "", "{equals: 0}", 0, 3, "3 is not 0 (off by 3)"),
    ("number", "", "{one_of: [1, 2]}", 2, 3, "3 is not one of 1, 2"),
    ("number", "mV", "{nominal: 3 V, tolerance: 2 %}", 2940, 2939, "2939 mV is below 3000 mV ± 60 mV, lowest 2940 mV by 1 mV"),
    ("number", "dBm", "{nominal: -60 dBm, tolerance: 3 dB}", -63, -56, "above -60 dBm ± 3 dB, highest -57 dBm by 1 dB"),
    ("number", "dBm", "{min: -70 dBm}", -70, -79, "-79 dBm is below the minimum -70 dBm by 9 dB"),
    ("number", "%", "{nominal: 50 %, tolerance: 2 %}", 52, 52.5, "above 50 % ± 2 %, highest 52 % by 0.5 %"),
    ("number", "", "{bits: {mask: 0x0F, value: 0x05}}", 0xF5, 0xF4, "0xF4 has 0x04 under the mask 0x0F, not 0x05"),
    ("bytes", "", "{bits: {mask: 0x8000, value: 0}}", b"\x01\x00", b"\x01", "01 has length 1, the mask 0x8000 needs 2"),
    ("bytes", "", "{bits: {mask: 0x0100, value: 0x0100}}", b"\x00\x01", b"\x01\x00", "0x01 has 0x00 under the mask"),
    ("number", "", "{min: 1, max: 2}", 1.5, Word("not known"), "'not known' is not a number to compare with 1"),
    ("number", "", "{equals: not known}", Word("not known"), 5, "5 is not 'not known'"),
    ("text", "", "{equals: '00123'}", "00123", "123", "'123' is not '00123'"),
    ("text", "", r"{matches: 'VFL3-\d{6}'}", "VFL3-000042", "VFL3-0000421", "does not match"),
    ("text", "", "{contains: ab}", "xabx", "ba", "'ba' lacks 'ab'"),
    ("text", "", "{length: {min: 2, max: 3}}", "ab", "a", "'a' has length 1, not 2 to 3"),
    ("text", "", "{length: {min: 2}}", "ab", None, "none has no length, not at least 2"),
    ("bytes", "", "{equals: 'DE AD'}", b"\xde\xad", b"\xde", "DE is not DE AD"),
    ("bytes", "", "{contains: AD}", b"\xde\xad\x01", b"\xda\xd1", "DA D1 lacks AD"),
    ("bytes", "", "{length: 2}", b"ab", b"", "(no bytes) has length 0, not 2"),
    ("boolean", "", "{equals: true}", True, False, "false is not true"),
    ("time", "", "{min: '2026-01-01 00:00:00'}", "2026-01-01T00:00:00", "2025-12-31T23:59:59", "is below the minimum '2026-01-01T00:00:00'"),
    ("list", "", "{contains: [a, b]}", ["c", "b", "a"], ["a"], "['a'] lacks 'b'"),
    ("list", "", "{equals: [1, 0.5]}", [1, 0.5], [1], "[1] is not [1, 0.5]"),
    ("list", "s", "{equals: [1 s, 500 ms]}", [1, 0.5], [1], "[1 s] is not [1 s, 0.5 s]"),
    ("list", "s", "{contains: 500 ms}", [1, 0.5], [1], "[1 s] lacks 0.5 s"),
    ("list", "", "{length: 2}", [1, 2], [], "[] has length 0, not 2"),
    ("list", "°C", "{min: 0 °C}", [0, 5], [-1, 100, -3], "-3 °C is below the minimum 0 °C by 3 °C"),
    ("list", "", "{max: 9}", [0, 9], [-100, 10, 12], "12 is above the maximum 9 by 3"),
    ("list", "", "{max: 9}", [9], [1, "not known"], "'not known' is not a number to compare with 9"),
    ("list", "", "{nominal: 5, tolerance: 1}", [4, 6], [4, 3, 99], "3 is below 5 ± 1, lowest 4 by 1"),
    ("any", "", "{equals: {a: [0.1]}}", {"a": [0.1]}, None, "none is not"),
    ("number", "", "{above: 3}", 3.1, 3, "3 is not above 3"),
    ("number", "s", "{above: 300 ms}", 0.4, 0.2, "0.2 s is not above 0.3 s by 0.1 s"),
    ("number", "°C", "{below: 0 °C}", -1, 0, "0 °C is not below 0 °C"),
    ("number", "", "{above: 1, below: 2}", 1.5, Word("not known"), "'not known' is not a number to compare with 1"),
    ("list", "", "{above: 0}", [1, 2], [1, 0, -3], "-3 is not above 0 by 3"),
    ("time", "", "{above: '2026-01-01 00:00:00'}", "2026-01-01T00:00:01", "2026-01-01T00:00:00", "is not above '2026"),
    ("number", "s", "{differs: 300 ms}", 0.4, 0.3, "0.3 s does not differ from 0.3 s"),
    ("number", "", "{differs: 5}", 6, Word("not known"), "'not known' is not a number to compare with 5"),
    ("number", "", "{differs: not known}", 5, Word("not known"), "'not known' does not differ from 'not known'"),
    ("number", "", "{differs: not known}", Word("NaN"), None, "there is no value to compare with"),
    ("text", "", "{differs: ab}", "abc", "ab", "'ab' does not differ from 'ab'"),
    ("bytes", "", "{differs: 'DE AD'}", b"\xde", b"\xde\xad", "DE AD does not differ from DE AD"),
    ("boolean", "", "{differs: true}", False, "no", "'no' is not true or false to compare with true"),
    ("time", "", "{differs: '2026-01-01 00:00:00'}", "2026-01-01T00:00:01", Word("????-01-01T00:00:00"), "is not a date"),
    ("list", "", "{differs: [1, 2]}", [2, 1], (1, 2), "[1, 2] does not differ from [1, 2]"),
    ("text", "", "{lacks: ASSERT}", "all is well", "x ASSERT y", "'x ASSERT y' contains 'ASSERT'"),
    ("text", "", "{lacks: ASSERT}", "", None, "none is not text"),
    ("bytes", "", "{lacks: AD}", b"\xda\xd1", b"\xde\xad", "DE AD contains AD"),
    ("list", "", "{lacks: [a, b]}", ["c"], ["b", "a"], "['b', 'a'] contains 'a', 'b'"),
    ("list", "s", "{lacks: 500 ms}", [1], [1, 0.5], "[1 s, 0.5 s] contains 0.5 s"),
    ("bytes", "", "{crc: CRC-16/IBM-3740}", b"123456789\xb1\x29", b"123456789\x29\xb1", "its CRC-16/IBM-3740 is B1 29 (they are in the other order)"),
    ("bytes", "", "{crc: {name: CRC-16/IBM-3740, order: big}}", b"123456789\x29\xb1", b"123456788\x29\xb1", "big-endian is 39 90"),
    ("bytes", "", "{crc: CRC-16/XMODEM}", b"\0\0\0", b"\0\0", "00 00 has no data before 2 bytes of CRC-16/XMODEM"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "unit", "text", "good", "bad", "said"), SENTENCES)
def test_a_limit_passes_one_and_breaks_on_the_other(kind, unit, text, good, bad, said):
    bind = bound(text, kind, unit)
    assert bind.judge(good).passed
    broken = bind.judge(bad)
    assert (broken.passed, said in broken.sentence) == (False, True), broken.sentence


def test_several_keys_must_all_hold_and_all_breaks_are_said():
    judged = bound("{matches: 'a.*', length: 3, contains: z}", "text").judge("bc")
    assert judged.sentence.split("; ") == ["'bc' does not match 'a.*'", "'bc' lacks 'z'", "'bc' has length 2, not 3"]


def test_a_pass_says_what_was_satisfied():
    judged = bound("{min: 1, max: 3}").judge(2)
    assert (judged.sentence, judged.limit, judged.low, judged.high) == (
        "2 satisfies: min 1 and max 3", "min 1 and max 3", 1, 3,
    )  # fmt: skip


def test_what_a_device_sends_is_shown_without_its_control_characters():
    sentence = bound("{equals: a}", "text").judge("\x1b[2J" + "x" * 500).sentence
    assert sentence.isprintable()
    assert len(sentence) < 200


def test_limits_on_both_sides_narrow_each_other():
    bind = bound("{min: 1, nominal: 2, tolerance: 5, max: 4}")
    assert (bind.low, bind.high) == (1, 4)


# --- exactness: a limit holds for the decimal numbers that people write


def test_three_tenths_pass_at_most_three_tenths():
    value = form("{as: uint8, scale: 0.1}").decode(b"\x03")
    assert bound("{max: 0.3}").passes(value)
    assert bound("{nominal: 0.2, tolerance: 0.1}").passes(value)  # 0.2 + 0.1 > 0.3 in floats
    assert bound("{equals: 0.3}").judge(value).margin == 0


@given(st.integers(0, 0xFFFF), st.sampled_from(["0.1", "0.01", "0.001", "0.7"]))
def test_the_edge_is_inside_and_the_next_step_is_not(raw, scale):
    number = form(f"{{as: uint32, scale: {scale}}}")
    at, beyond = (number.decode((raw + n).to_bytes(4, "little")) for n in (0, 1))
    edge = Decimal(scale) * raw
    bind = bound(f"{{max: {edge}}}" if "." in str(edge) else f"{{max: {edge}.0}}")
    assert (bind.passes(at), bind.passes(beyond)) == (True, False)
    assert (bind.margin(at), exact_text(bind.margin(beyond))) == (0, -Fraction(scale))


def exact_text(number: float) -> Fraction:
    return Fraction(str(number))


@pytest.mark.parametrize(
    ("text", "unit", "high"),
    [
        ("{max: 300 ms}", "s", 0.3),
        ("{max: 86 °F}", "°C", 30),
        ("{max: 1 psi}", "Pa", 6894.757293168),
        ("{max: 0.1 %}", "ppm", 1000),
    ],
)
def test_bounds_in_the_unit_of_the_reading(text, unit, high):
    assert bound(text, "number", unit).high == high


def test_a_word_that_the_unit_gave_differs_from_other_words_alone():
    given = Limit(differs=Word("closed")).bind("number")
    assert [given.passes(value) for value in (Word("open"), Word("closed"), 5, None)] == [True, False, False, False]


def test_strictly_above_three_tenths_is_above_three_tenths():
    value = form("{as: uint8, scale: 0.1}")
    assert not bound("{above: 0.3}").passes(value.decode(b"\x03"))
    assert bound("{above: 0.3}").passes(value.decode(b"\x04"))
    assert not bound("{below: 0.3}").passes(value.decode(b"\x03"))
    assert bound("{above: 0.3}").judge(0.3).margin == 0


def test_the_narrower_of_two_ends_counts():
    bind = bound("{above: 1, nominal: 2, tolerance: 1, below: 4}")
    assert (bind.low, bind.low_open, bind.high, bind.high_open) == (1, True, 3, False)


def test_percent_of_a_negative_nominal():
    bind = bound("{nominal: -20 °C, tolerance: 5 %}", "number", "°C")
    assert (bind.low, bind.high) == (-21, -19)


# --- what cannot be


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("number", "{matches: a}"), ("number", "{length: 1}"), ("number", "{contains: 1}"), ("text", "{min: 1}"),
        ("bytes", "{max: 1}"), ("boolean", "{one_of: [true]}"), ("time", "{bits: {mask: 1, value: 1}}"),
        ("list", "{matches: a}"), ("any", "{length: 1}"),
    ],
)  # fmt: skip
def test_keys_that_do_not_apply(kind, text):
    with pytest.raises(Misfit, match="does not apply to a reading that is") as refused:
        bound(text, kind)
    assert refused.value.advice.startswith("write one of: equals")


@pytest.mark.parametrize(
    ("kind", "unit", "text", "said"),
    [
        ("number", "s", "{max: 5}", "5 has no unit; the reading is measured in s"),
        ("number", "", "{max: 5 s}", "5 s has a unit, the reading has none"),
        ("number", "s", "{max: 5 V}", "5 V is a voltage, not a time"),
        ("number", "", "{equals: true}", "expected a number, found true"),
        ("number", "", "{equals: null}", "expected a number, found nothing"),
        ("number", "", "{min: 3, max: 1}", "min 3 is above max 1, so nothing could pass"),
        ("number", "", "{equals: 3, max: 1}", "is above max 1"),
        (
            "time",
            "",
            "{min: '2026-01-02 00:00:00', max: '2026-01-01 00:00:00'}",
            "min '2026-01-02T00:00:00' is above max '2026",
        ),
        ("time", "", "{min: '02.05.2026 12:00'}", "expected a date and time as text"),
        ("time", "", "{max: tomorrow}", "expected a date and time as text"),
        ("time", "", "{equals: '2026-02-30T00:00:00'}", "is not a day of the calendar"),
        ("time", "", "{min: '????-12-25T00:00:00'}", "is not known to the day"),
        ("list", "", "{contains: []}", "an empty 'contains' holds for everything"),
        ("text", "", "{contains: ''}", "an empty 'contains' holds for everything"),
        ("bytes", "", "{contains: ''}", "an empty 'contains' holds for everything"),
        ("time", "", "{min: 5}", "expected a date and time as text"),
        ("text", "", "{equals: 5}", "expected text, found the number 5"),
        ("list", "", "{lacks: []}", "an empty 'lacks' forbids nothing"),
        ("text", "", "{contains: abc, lacks: b}", "cannot lack that"),
        ("list", "", "{contains: [1, 2], lacks: [2]}", "cannot lack that"),
        ("number", "", "{above: 3, below: 3}", "above 3 and below 3 exclude each other"),
        ("number", "", "{above: 3, max: 3}", "above 3 and max 3 exclude each other"),
        ("number", "", "{min: 3, below: 3}", "min 3 and below 3 exclude each other"),
        ("number", "", "{equals: 3, above: 3}", "above 3 and max 3 exclude each other"),
        ("number", "", "{one_of: [1, 2], above: 2}", "one_of and above exclude each other"),
        ("number", "%", "{differs: [5 %, 7 %]}", "expected a quantity such as 5 %, found a list"),
        ("text", "", "{differs: []}", "found a list"),
        ("text", "", "{equals: a, differs: a}", "equals and differs exclude each other"),
        ("number", "", "{equals: 3, rising: true}", "equals and rising exclude each other"),
        ("bytes", "", "{crc: CRC-32/ISCSI, length: 4}", "a length of 4 leaves no data"),
        ("bytes", "", "{equals: zz}", "expected bytes as hex text"),
        ("bytes", "", "{equals: 16}", "expected bytes as hex text"),
        ("boolean", "", "{equals: 1}", "expected true or false"),
        ("list", "", "{equals: a}", "expected a list"),
        ("number", "dBm", "{nominal: 1 dBm, tolerance: 1 s}", "not a difference of level"),
        ("number", "", "{nominal: 1, tolerance: 1 s}", "1 s has a unit, the reading has none"),
    ],
)
def test_values_that_do_not_fit_the_reading(kind, unit, text, said):
    with pytest.raises(Misfit, match=said.replace("(", r"\(")):
        bound(text, kind, unit)


def test_every_wrong_key_is_found_at_once():
    wrong = limit("{min: 5, max: 3 V, nominal: 1 s, tolerance: 1 V}").misfits_for("number", "s")
    assert [misfit.path[0] for misfit in wrong] == ["min", "max", "tolerance"]


@pytest.mark.parametrize(
    "text", ["{}", "{matches: '('}", "{matches: 'a{9999999999}'}", "{length: -1}", "{length: {mni: 1}}", "{min: [1]}"]
)
def test_what_is_no_limit(text):
    with pytest.raises(PlanError):
        limit(text)


def test_a_value_from_outside_is_read_as_the_reading_needs_it():
    assert Limit(equals=LooseText("5")).bind("number").passes(5)
    assert Limit(equals=LooseText("5")).bind("text").passes("5")
    assert Limit(equals=LooseText("not known")).bind("number").passes(Word("not known"))
    assert Limit(max=LooseText("5 °C")).bind("number", "°C").high == 5
    with pytest.raises(Misfit, match="5 has no unit"):
        Limit(max=LooseText("5")).bind("number", "°C")


# --- any limit, any value

NUMBERS = st.integers(-(10**6), 10**6) | st.decimals(-(10**6), 10**6, places=3)
TEXTS = st.sampled_from(["a", "DE AD", "", "2026-01-01", "not known"])
RANGES = st.fixed_dictionaries({}, optional={"min": NUMBERS, "max": NUMBERS}) | st.builds(
    lambda nominal, tolerance: {"nominal": nominal, "tolerance": abs(tolerance)}, NUMBERS, NUMBERS
)
SIDES = st.fixed_dictionaries(
    {}, optional={"above": NUMBERS, "below": NUMBERS, "differs": NUMBERS | st.just("not known")}
)
# All that a reading can be, also of a kind that the limit was not made for.
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.binary(max_size=9)
    | st.sampled_from([Word("not known"), 10**60, -(10**4000), 5e-324, 1.7e308]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=5,
)  # fmt: skip
# What a limit may hold for each kind of reading; a few of them still contradict themselves.
LIMITS = {
    "number": RANGES | SIDES | st.fixed_dictionaries({"equals": NUMBERS | st.just("not known"), "one_of": st.lists(NUMBERS)}),
    "text": st.fixed_dictionaries(
        {}, optional={"equals": TEXTS, "one_of": st.lists(TEXTS), "contains": TEXTS, "lacks": TEXTS, "differs": TEXTS, "matches": st.just("(a|[^x]+)*"),
                      "length": st.builds(Length, st.integers(0, 5), st.none() | st.integers(5, 9))}
    ),
    "bytes": st.fixed_dictionaries(
        {}, optional={"equals": st.just("DE AD"), "contains": st.sampled_from(["", "DE"]), "bits": st.just(Bits(3, 1)),
                      "crc": st.sampled_from(["CRC-8/SMBUS", "CRC-64/XZ"]).map(Crc.from_source)}
    ),
    "boolean": st.builds(lambda wanted: {"equals": wanted}, st.booleans()),
    "time": st.fixed_dictionaries({}, optional={"min": TEXTS, "max": TEXTS, "equals": TEXTS, "contains": TEXTS, "below": TEXTS, "differs": TEXTS}),
    "list": RANGES | st.builds(lambda wanted: {"contains": wanted}, NUMBERS | TEXTS | st.lists(TEXTS | NUMBERS)),
    "any": st.builds(lambda wanted: {"equals": wanted, "one_of": [wanted, 1]}, VALUES),
}  # fmt: skip


def made(keys: dict, kind: str) -> BoundLimit:
    """The bound limit; another example when it contradicts itself."""
    try:
        return Limit(**keys).bind(kind)
    except Misfit:
        assume(False)
        raise


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data(), value=VALUES)
def test_a_bound_limit_judges_anything(kind, data, value):
    bind = made(data.draw(LIMITS[kind]), kind)
    judged = bind.judge(value)
    assert judged.passed == bind.passes(value)
    assert judged.sentence.isprintable()


@given(VALUES, VALUES)
def test_a_limit_for_what_has_no_fixed_kind(wanted, value):
    with suppress(Misfit):
        Limit(equals=wanted).bind(kind_of(value)).judge(value)


def without_differs(keys: dict) -> dict:
    return {key: value for key, value in keys.items() if key != "differs"}


# beyond 2^53 floats are whole numbers further apart than the limits that people write
@given(RANGES | SIDES.map(without_differs), st.integers(-(10**9), 10**9) | st.floats(-1e9, 1e9) | NUMBERS.map(float))
def test_the_margin_is_negative_where_the_limit_is_broken(keys, value):
    assume(keys)
    judged = made(keys, "number").judge(value)
    at_an_open_end = judged.margin == 0 and value in (keys.get("above"), keys.get("below"))
    assert judged.passed == (judged.margin >= 0 and not at_an_open_end)


@given(NUMBERS, st.floats(0, 1e6))
def test_the_margin_is_the_distance_to_the_edge(edge, beyond):
    margin = Limit(max=edge).bind("number").margin(beyond)
    assert math.isclose(margin, Fraction(edge) - Fraction(repr(beyond)), rel_tol=1e-15, abs_tol=0)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, None, "5", b"5", True, Word("NaN")])
def test_what_is_no_number_passes_no_bound(value):
    judged = bound("{min: -1000000, max: 1000000}").judge(value)
    assert (judged.passed, judged.margin) == (False, None)


def test_every_key_says_what_it_is_about() -> None:
    assert [*KEYS] == [*Limit.words()], "a field of Limit has a row in KEYS of values/limit_keys.py, in the same order"
    numbers = {name for name, key in KEYS.items() if key.number}
    assert all("number" in KEYS[name].kinds for name in numbers), "a key that makes a reading a number is for numbers"
