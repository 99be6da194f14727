"""Arithmetic of references: exact against an independent walk of the tree over fractions, or a clear error."""

from __future__ import annotations

import ast
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.source.shape import LooseText, Misfit
from benchrig.values.arithmetic import Sample, Unknown, likely, worked_out
from benchrig.values.quantity import Quantity, exact
from benchrig.values.value import Word

VALUES = {
    "before": Quantity(97, "%"), "after": Quantity(95, "%"), "ambient": Quantity(Fraction("21.4"), "°C"), "u": Quantity(3, "V"),
    "i": Quantity(2, "mA"), "n": 7, "x": 0.1, "d": Decimal("2.5"), "zero": 0, "trip": bytes.fromhex("0102030405"),
    "serial": "VFL3-000042", "given": LooseText("5 V"), "code": LooseText("0042"), "limit": "30 °C", "word": Word("not known"),
    "on": True, "items": [1, 2, 3],
}  # fmt: skip


def out(text: str) -> Any:
    return worked_out(text, frozenset(), VALUES)


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("before - after", Quantity(2, "%")),
        ("before - 2 %", Quantity(95, "%")),
        ("ambient + 0.5 °C", Quantity(Fraction("21.9"), "°C")),
        ("limit - ambient", Quantity(Fraction("8.6"), "ΔK")),
        ("50 % * u", Quantity(Fraction("1.5"), "V")),
        ("u * i", Quantity(6, "mW")),
        ("given - u", Quantity(2, "V")),
        ("x * 3", Decimal("0.3")),
        ("n / 2", Decimal("3.5")),
        ("n / 3", Fraction(7, 3)),
        ("n - 7", 0),
        ("round(d)", 3),
        ("round(-d)", -3),
        ("round(n / 3, 2)", Decimal("2.33")),
        ("min(u, 2000 mV, given)", Quantity(2, "V")),
        ("max(n, x, d)", 7),
        ("abs(after - before)", Quantity(2, "%")),
        ("trip[0:2]", b"\x01\x02"),
        ("trip[-2:]", b"\x04\x05"),
        ("trip[3] + 256 * trip[4]", 1284),
        ("trip[1:4][-1]", 4),
        ("trip[5:]", b""),
        ("serial[5:]", "000042"),
        ("items[1]", 2),
        ("items[1:]", [2, 3]),
        ("word + 1", "not known"),
        ("max(u, word)", "not known"),
        ("serial", "VFL3-000042"),
    ],
)
def test_what_comes_out(text, result):
    found = out(text)
    assert (found, type(found)) == (result, type(result)) or isinstance(found, Word)
    assert found == result


def test_a_part_of_what_was_given_is_given():
    assert type(out("code[0:2]")) is LooseText


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("before - u", "before - u: 97 % is a ratio, 3 V a voltage; before is 97 %, u is 3 V"),
        ("before / zero", "before / zero: a division by 0; before is 97 %, zero is 0"),
        ("u / (i - i)", "u / (i - i): a division by 0 mA; u is 3 V, i is 2 mA"),
        ("u + n", "a number without a unit and 3 V are added or compared; u is 3 V, n is 7"),
        ("max(u, n)", "a number without a unit and 3 V are added or compared"),
        ("u * u", "no unit measures V * V"),
        ("serial + 1", "'VFL3-000042' is text, and has no arithmetic"),
        ("trip * 2", "01 02 03 04 05 is not a number, and has no arithmetic"),
        ("on + 1", "true is not a number"),
        ("trip[5]", "there is no part [5] of 5"),
        ("trip[2:9]", "there is no part [2:9] of 5"),
        ("trip[3:1]", "the part [3:1] ends before it begins"),
        ("trip[-6]", "there is no part [-6] of 5"),
        ("n[0]", "7 has no parts"),
        ("u + 2 foo", "unknown unit 'foo'"),
    ],
)
def test_what_has_no_result(text, said):
    with pytest.raises(Misfit) as refused:
        out(text)
    assert said in refused.value.message


def test_numbers_have_an_end():
    assert out(" * ".join(["n", *["9" * 40] * 23])) > 10**900
    huge = {"n": 10**400}
    with pytest.raises(Misfit, match="more than 1000 digits"):
        worked_out("n * n * n * n", frozenset(), huge)


# --- exact

UNITS = ["", "", "V", "mV", "%", "s", "ms", "°C", "K", "dBm", "dB", "A"]
NUMBERS = st.fractions(-50, 50, max_denominator=20)
NAMES = st.sampled_from(["p", "q", "r"])
LEAVES: st.SearchStrategy[str] = NAMES | st.integers(0, 30).map(str)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from("+-*/"), inner).map(lambda t: f"({t[0]} {t[1]} {t[2]})"),
        inner.map(lambda t: f"-{t}"),
        st.tuples(st.sampled_from(["min", "max"]), inner, inner).map(lambda t: f"{t[0]}({t[1]}, {t[2]})"),
        inner.map(lambda t: f"abs({t})"),
    ),
    max_leaves=12,
)


def walked(text: str, values: dict[str, Fraction]) -> Fraction:
    """By Python's own grammar, with fractions in the place of all numbers."""

    def walk(node: Any) -> Fraction:
        if isinstance(node, ast.Constant):
            return Fraction(node.value)
        if isinstance(node, ast.Name):
            return values[node.id]
        if isinstance(node, ast.UnaryOp):
            return -walk(node.operand)
        if isinstance(node, ast.Call):
            arguments = [walk(one) for one in node.args]
            return {"min": min, "max": max, "abs": lambda one: abs(one[0])}[node.func.id](arguments)  # type: ignore[attr-defined]
        one, other = walk(node.left), walk(node.right)
        by: dict[type, Callable[[], Fraction]] = {ast.Add: lambda: one + other, ast.Sub: lambda: one - other,
                                                 ast.Mult: lambda: one * other, ast.Div: lambda: one / other}  # fmt: skip
        return by[type(node.op)]()

    return walk(ast.parse(text, mode="eval").body)


@given(TREES, NUMBERS, NUMBERS, NUMBERS)
def test_numbers_are_exact_or_the_error_is_clear(text, p, q, r):
    values = {"p": p, "q": q, "r": r}
    try:
        due = walked(text, values)
    except ZeroDivisionError:
        due = None
    try:
        found = worked_out(text, frozenset(), values)
    except Misfit as misfit:
        said = misfit.message
        assert ("a division by 0" in said and due is None) or "has no name" in said or "deeper than" in said
    else:
        assert exact(found) == due


@given(TREES, st.tuples(*[st.tuples(NUMBERS, st.sampled_from(UNITS))] * 3))
def test_quantities_are_exact_or_the_error_is_clear(text, given):
    """In base units the same numbers come out, where no part of it is a value of a scale with a zero of its own."""
    values = {
        name: Quantity(number, unit) if unit else number for name, (number, unit) in zip("pqr", given, strict=True)
    }
    plain = {name: value.base if isinstance(value, Quantity) else value for name, value in values.items()}
    try:
        found = worked_out(text, frozenset(), values)
    except Misfit:
        return
    if not any(unit in ("°C", "K", "dBm") for _, unit in given):
        base = found.number * found.unit.factor * _to_si(found) if isinstance(found, Quantity) else exact(found)
        assert base == walked(text, plain)


def _to_si(found: Quantity) -> Fraction:
    sizes = {"charge": Fraction(3600), "data rate": Fraction(1, 8), "moisture": Fraction(1, 1000)}
    return sizes.get(found.unit.dimension, Fraction(1))


# --- before the run


def test_samples_tell_what_can_never_be_right():
    samples = {
        "a": Quantity(3, "V"),
        "b": Quantity(2, "°C"),
        "t": Sample("text"),
        "raw": Sample("bytes"),
        "w": Sample("time"),
    }
    for text, said in (("a - b", "a voltage"), ("t + 1", "text has no arithmetic"), ("raw * 2", "a value of bytes has no"),
                       ("a[0]", "has no parts"), ("a / (a - a)", "a division by"), ("w + 1", "a date and time has no")):  # fmt: skip
        with pytest.raises(Misfit, match=said):
            likely(text, frozenset(), samples)
    assert likely("raw[0:2]", frozenset(), samples) == Sample("bytes")
    assert likely("w[0:10]", frozenset(), samples) == Sample("text")
    assert likely("raw[0] * 2", frozenset(), samples) == 24
    for text in ("a - unknown", "unknown"):
        with pytest.raises(Unknown):
            likely(text, frozenset(), samples)
