"""Values -> YAML text -> the same values."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.plan.substitution import Room, substitute
from benchrig.source.nodes import plain
from benchrig.source.problem import Problems
from benchrig.source.references import has_reference
from benchrig.source.writing import decimal_text, flow, literal, scalar
from benchrig.source.yaml import read_text


def read(text: str) -> Any:
    problems = Problems()
    node = read_text(text, "text.yaml", problems)
    assert not problems.found, (text, [str(problem) for problem in problems.found])
    assert node is not None
    return plain(node)


SCALARS = st.none() | st.booleans() | st.integers(-(10**39), 10**39) | st.text()
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4)
)


@given(VALUES)
def test_what_is_written_is_read_again(value: Any) -> None:
    assert read(f"key: {flow(value)}\n") == {"key": value}
    assert read(f"- {flow(value)}\n- {{key: {flow(value)}}}\n") == [value, {"key": value}]


@given(st.floats(-1e30, 1e30))
def test_a_number_is_written_as_it_prints(number: float) -> None:
    text = decimal_text(number)
    if text is None:
        assert 0 < abs(number) < 1e-20
    else:
        assert Decimal(text) == Decimal(repr(number))
        assert float(read(text)) == number


@given(st.text())
def test_a_literal_is_no_reference(text: str) -> None:
    problems = Problems()
    node = read_text(scalar(literal(text)), "text.yaml", problems)
    assert node is not None
    assert not has_reference(node)
    assert plain(substitute(node, {}, Room(Problems()))) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("environmental sensing", "environmental sensing"),
        ("21.5 °C", "21.5 °C"),
        ("-40 °C", "-40 °C"),
        ("VFL-0042", "VFL-0042"),
        ("", "''"),
        ("no", "'no'"),
        ("007", "'007'"),
        ("3.10", "'3.10'"),
        ("C4:1F:5A:20:00:42", "'C4:1F:5A:20:00:42'"),
        ("it's", "'it''s'"),
        ("a: b #c", "'a: b #c'"),
        ("\x1b[2J", '"\\x1b[2J"'),
        ("\u2028", '"\\u2028"'),
        (-0.0, "0"),
        (1e-7, "0.0000001"),
        (Fraction(1, 4), "0.25"),
        (Decimal("2.50"), "2.5"),
    ],
)
def test_text_and_numbers_as_people_write_them(value: Any, text: str) -> None:
    assert scalar(value) == text


def test_what_is_no_decimal_number_is_not_written() -> None:
    assert [decimal_text(number) for number in (float("nan"), float("inf"), 1e-300, 1e300)] == [None] * 4
    with pytest.raises(ValueError, match="cannot be written"):
        scalar(1e300)
