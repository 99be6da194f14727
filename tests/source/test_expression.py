"""The grammar of what is between `${` and `}`: what is an expression, what it names, and hostile text."""

from __future__ import annotations

import random
from contextlib import suppress
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.source.expression import (
    Function,
    Literal,
    Name,
    Negative,
    Operation,
    Part,
    Unreadable,
    names_of,
    parsed,
    parts,
)

a, b, c = Name("a"), Name("b"), Name("c")


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        ("a", a),
        (" a ", a),
        ("a - b - c", Operation("-", Operation("-", a, b), c)),
        ("a-b*c", Operation("-", a, Operation("*", b, c))),
        ("(a - b) * c", Operation("*", Operation("-", a, b), c)),
        ("-a / -b", Operation("/", Negative(a), Negative(b))),
        ("- -a", Negative(Negative(a))),
        ("a + 2 %", Operation("+", a, Literal(Fraction(2), "%"))),
        ("a+0.5°C", Operation("+", a, Literal(Fraction(1, 2), "°C"))),
        ("a * 3 m/s", Operation("*", a, Literal(Fraction(3), "m/s"))),
        ("3 m / a", Operation("/", Literal(Fraction(3), "m"), a)),
        ("a + 2 g/m³ - 5 1/min", Operation("-", Operation("+", a, Literal(Fraction(2), "g/m³")), Literal(Fraction(5), "1/min"))),
        ("a + 2 dB SPL", Operation("+", a, Literal(Fraction(2), "dB SPL"))),
        ("min(a, b, 2 V)", Function("min", (a, b, Literal(Fraction(2), "V")))),
        ("a * 2 min", Operation("*", a, Literal(Fraction(2), "min"))),
        ("min - a", Operation("-", Name("min"), a)),
        ("round(a / b, 2)", Function("round", (Operation("/", a, b), Literal(Fraction(2), "")))),
        ("abs(-a)", Function("abs", (Negative(a),))),
        ("a[3]", Part(a, 3, None, True)),
        ("a[-2:]", Part(a, -2, None, False)),
        ("a[:4]", Part(a, None, 4, False)),
        ("a[1:4][0]", Part(Part(a, 1, 4, False), 0, None, True)),
    ],
)  # fmt: skip
def test_trees(text, tree):
    assert parsed(text) == tree


@pytest.mark.parametrize(
    ("text", "said", "advice"),
    [
        ("", "names nothing", "write a name"),
        ("a +", "found the end", "write names"),
        ("a b", "expected an operator in 'a b', found 'b'", ""),
        ("a × b", "found '× b'", "write *"),
        ("a − b", "found '− b'", "write -"),
        ("a ** b", "found '** b'", "a product"),
        ("a // b", "found '// b'", "round(a / b)"),
        ("a.b", "found '.b'", ""),
        ("a == b", "found '== b'", ""),
        ("(a", "expected a closing bracket", ""),
        ("a)", "found ')'", ""),
        ("2 V", "has no name of a value in it", "write the result without"),
        ("min(a)", "min takes 2 to 99 values, not 1", ""),
        ("abs(a, b)", "abs takes one value, not 2", ""),
        ("round(a, b)", "the digits of round are a number from 0 to 15", ""),
        ("round(a, 16)", "the digits of round are", ""),
        ("sin(a)", "expected an operator in 'sin(a)', found '(a)'", ""),
        ("a[b]", "expected a part such as [3] or [0:4]", ""),
        ("a[]", "expected a part", ""),
        ("a[1:2:3]", "expected a part", ""),
        ("a + '5'", "expected a name or a number", ""),
        ("__import__('os')", "expected an operator", ""),
        ("(" * 40 + "a" + ")" * 40, "deeper than 32", "compute steps"),
        ("-" * 40 + "a", "deeper than 32", ""),
        ("a" + "+a" * 600, "more than 1000 characters", "compute steps"),
    ],
)
def test_what_is_no_expression(text, said, advice):
    with pytest.raises(Unreadable) as refused:
        parsed(text)
    assert said in refused.value.message
    assert advice in refused.value.advice
    assert names_of(text) == (text.strip(),)


def test_a_name_of_the_plan_comes_before_arithmetic():
    defined = frozenset({"log-level", "log-level 2", "a b", "x.y"})
    assert parsed("log-level", defined) == Name("log-level")
    assert parsed("log-level - 1", defined) == Operation("-", Name("log-level"), Literal(Fraction(1), ""))
    assert parsed("log-level 2 * x.y", defined) == Operation("*", Name("log-level 2"), Name("x.y"))
    assert names_of("log-levels + a b", defined) == ("log", "levels", "a b")
    assert names_of("log-level") == ("log", "level")


@given(st.text(st.sampled_from("ab1.[]():,+-*/ %V°C²³minround\u00a0${}\n\"'") | st.characters(), max_size=60))
def test_any_text_is_an_expression_or_told_apart(text):
    with suppress(Unreadable):
        tree = parsed(text, frozenset({"a-b"}))
        assert {one.name for one in parts(tree) if isinstance(one, Name)} == {*names_of(text, frozenset({"a-b"}))}


def test_the_longest_hostile_texts_end_at_once():
    for text in ("(" * 999, "a[" * 499, "-" * 999, "a+" * 499, "min(" * 249, "1" * 999, "a,b" * 333, "1 " * 499):
        with pytest.raises(Unreadable):
            parsed(text)
    chance = random.Random(7)
    for _ in range(500):
        text = "".join(chance.choice("ab 12.()[]:,+-*/%V°") for _ in range(1000))
        names_of(text)
