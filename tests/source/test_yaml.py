"""The strict subset of YAML: what scalars mean, what is refused, and that other readers would agree.

The readers of reference: PyYAML (YAML 1.1), and the core schema of YAML 1.2.2, section 10.3.2, whose table of regular
expressions is copied below.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal

import pytest
import yaml
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from benchrig.source.nodes import plain
from benchrig.source.problem import Problems
from benchrig.source.yaml import MAX_BYTES, Refused, Scalar, plain_scalar, read_bytes, read_file, read_text


def data_of(text: str):
    problems = Problems()
    node = read_text(text, "test.yaml", problems)
    problems.raise_if_any()
    return plain(node)


def said_of(text: str) -> list[str]:
    problems = Problems()
    read_text(text, "test.yaml", problems)
    return [f"{p.place}: {p.message}" for p in problems.found]


def yaml_1_2(text: str):
    """What the core schema of YAML 1.2.2 makes of unquoted text."""
    if re.fullmatch(r"null|Null|NULL|~|", text):
        return None
    if re.fullmatch(r"true|True|TRUE|false|False|FALSE", text):
        return text.lower() == "true"
    if re.fullmatch(r"[-+]?[0-9]+", text):
        return int(text)
    if re.fullmatch(r"0o[0-7]+|0x[0-9a-fA-F]+", text):
        return int(text, 0)
    if re.fullmatch(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", text):
        return float(text)
    if re.fullmatch(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)", text):
        return float(text.replace(".", ""))
    return text


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("", None), ("null", None), ("true", True), ("false", False), ("0", 0), ("-0", 0), ("+7", 7), ("42", 42),
        ("0x2A6E", 0x2A6E), ("0x00", 0), ("0.01", Decimal("0.01")), ("-273.15", Decimal("-273.15")), ("5 ms", "5 ms"),
        ("-70 dBm", "-70 dBm"), ("3.2.1", "3.2.1"), ("VFL3-000042", "VFL3-000042"), ("number", "number"),
        ("1.50", Decimal("1.50")), ("only", "only"), ("nothing", "nothing"), ("6b1d0002", "6b1d0002"),
        ("9" * 59, int("9" * 59)), ("1/1024", "1/1024"), ("+", "+"), ("-a", "-a"), (".5 V", ".5 V"),
    ],
)  # fmt: skip
def test_unquoted_text_means(text, value):
    assert plain_scalar(text) == value
    assert type(plain_scalar(text)) is type(value)


REFUSED = {
    "is true or false to some readers": ["yes", "No", "ON", "off", "y", "N"],
    "is not how true and false are written": ["True", "FALSE"],
    "is not how null is written": ["~", "Null", "NULL"],
    "has leading zeros": ["00123", "-07", "01.5", "00"],
    "is not a number here": ["0o17", "0b101", "0X2A", "-0x10", "+0x2A"],
    "an exponent": ["1e5", "6e40", "1.5E-3", "12e03", ".5e3", "1_0e2"],
    "base 60": ["12:30", "1:2:3", "-1:30", "190:20:30.15"],
    "is a date": ["2026-01-31", "2026-1-3", "2026-01-31T12:00:00Z", "2026-01-31 12:00:00"],
    "an underscore": ["1_000", "1_0.5", "0x2_A", "1._5", ".5_"],
    "not a complete decimal number": [".5", "5.", "-.5"],
    "is not a decimal number": [".inf", "-.INF", ".NaN"],
    "is too long": ["9" * 60, "0." + "1" * 60, "0x" + "a" * 60],
    "merge": ["<<"],
    "not text to some readers": ["="],
}


@pytest.mark.parametrize(("what", "text"), [(what, text) for what, texts in REFUSED.items() for text in texts])
def test_what_readers_of_yaml_take_for_different_things_is_refused(what, text):
    refused = plain_scalar(text)
    assert isinstance(refused, Refused), refused
    assert what in refused.what
    assert refused.advice


@pytest.mark.parametrize("text", ["'no'", '"00123"', "'2026-01-31'", "'~'", "'0x2A'", "''", "|-\n  no"])
def test_quoted_is_text(text):
    assert isinstance(data_of(f"a: {text}")["a"], str)


NUMBER_LIKE = st.text("0123456789+-.xXoObBeE_:aAfF", min_size=1, max_size=9)
WORD_LIKE = st.text("yesnoffTRUEtrualsNUL~<.=infa ", min_size=1, max_size=6)
DATE_LIKE = st.from_regex(
    r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}([Tt ][0-9]{1,2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?Z?)?", fullmatch=True
)


@given(NUMBER_LIKE | WORD_LIKE | DATE_LIKE | st.from_regex(r"[+-]?[0-9]{1,6}(\.[0-9]{1,4})?", fullmatch=True))
def test_whatever_is_accepted_means_the_same_to_readers_of_yaml_1_1_and_1_2(text):
    problems = Problems()
    node = read_text(f"- {text}", "x", problems)
    assume(node is not None and not problems.found)
    item = node.items[0]
    assume(isinstance(item, Scalar) and not item.quoted)
    value = float(item.value) if isinstance(item.value, Decimal) else item.value
    for other in (yaml.safe_load(f"- {text}")[0], yaml_1_2(item.text)):
        assert other == value or (isinstance(other, float) and math.isnan(other))
        assert type(other) is type(value)


PLAIN_DATA = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**40), 10**40) | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=15,
)


@given(PLAIN_DATA.filter(lambda data: data is not None))
def test_what_another_program_writes_is_read_back(data):
    # PyYAML quotes what YAML 1.1 would misread; double quotes keep the rest.
    text = yaml.safe_dump(data, default_style='"', allow_unicode=False)
    text = re.sub(r'!!(?:int|bool|null) "([^"]*)"', r"\1", text)
    assert data_of(text) == data


@given(st.text("ab:-[]{}\n #&*!|>'\"?,\t\u2028\r", max_size=40))
def test_any_text_gives_a_tree_or_a_problem(text):
    problems = Problems()
    assert (read_text(text, "x", problems) is not None) or problems.found


@given(text=st.text("a1: -\n{}[],'é😀", max_size=60))
def test_every_place_points_into_the_text(text):
    problems = Problems()
    read_text(text, "x", problems)
    lines = text.split("\n")
    for problem in problems.found:
        assert 1 <= problem.place.line <= len(lines) + 1
        assert problem.place.column >= 1


def test_places_count_characters_not_bytes():
    assert said_of("é: 'ü'\n€€: no") == ["test.yaml:2:5: the unquoted 'no' is true or false to some readers of YAML"]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_end_as_they_do_on_any_system(end):
    problems = Problems()
    read_text(f"a: 1{end}b: no{end}", "x", problems)
    assert str(problems.found[0]).split("\n")[1] == "    2 | b: no"


def test_all_mistakes_of_a_file_are_found():
    assert len(said_of("a: no\nb: 1e5\na: *x\nc: !t 2026-01-31\nd: &y 00\n")) == 8


def test_keys_that_differ_only_to_python_are_different():
    assert data_of("1: a\ntrue: b\n'1': c") == {1: "a", "true": "b", "1": "c"}


@pytest.mark.parametrize("text", ["a: 1\na: 2", "{a: 1, 'a': 2}", "0x10: a\n16: b", "1: a\n1.0: b"])
def test_the_same_key_twice(text):
    assert "duplicate key" in said_of(text)[0]


@given(st.binary(max_size=40))
@settings(deadline=None)
def test_any_file_gives_a_tree_or_a_problem(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "any.yaml"
    path.write_bytes(data)
    problems = Problems()
    node = read_file(path, problems)
    assert (node is None) <= bool(problems.found)


@pytest.mark.parametrize(("size", "good"), [(MAX_BYTES, True), (MAX_BYTES + 1, False)])
def test_the_largest_file(size, good):
    problems = Problems()
    assert (read_bytes(b"a: b #".ljust(size, b"x"), "x", problems) is not None) is good


@pytest.mark.parametrize("data", [b"\xff\xfea\x00", b"a\x80", b"\xed\xa0\x80", b"a: \xc3"])
def test_what_is_no_utf_8(data):
    problems = Problems()
    assert read_bytes(data, "x", problems) is None
    assert "is not UTF-8" in problems.found[0].message


@pytest.mark.parametrize("text", ["a: \x00", "a: \x07", "a: \ufffe", "a: \x7f"])
def test_characters_that_yaml_does_not_have(text):
    assert "not valid YAML" in said_of(text)[0]
