"""References: what becomes of them, and how much."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.plan.substitution import Room, insert, substitute
from benchrig.source.nodes import plain
from benchrig.source.problem import NOWHERE, Problems
from benchrig.source.references import as_text, references
from benchrig.source.shape import LooseText, Reader
from benchrig.source.yaml import Node, Scalar, read_text
from benchrig.values.quantity import Quantity
from tests.plan.building import HEAD, plan_of, problem_of, problems_of, with_steps


def tree(text: str) -> Node:
    node = read_text(text, "some.yaml", Problems())
    assert node is not None
    return node


def put(node: Node, values: dict[str, Any], *, partly: bool = False) -> Node:
    return substitute(node, values, Room(Problems()), partly=partly)


def read(text: str, kind: Any, value: Any) -> Any:
    return Reader(Problems()).read(put(tree(text), {"x": value}), kind)


@pytest.mark.parametrize("value", [5, LooseText("5")])
def test_a_replaced_reference_is_judged_as_what_it_is(value):
    assert read("'${x}'", int, value) == 5


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (LooseText("00123"), "00123"),
        (b"\xa6\x47\x00", "A6 47 00"),
        (True, "true"),
        (1e-7, "0.0000001"),
        (Decimal("2.50"), "2.5"),
        (Fraction(1, 8), "0.125"),
        (Quantity.from_source("21.456789012 °C"), "21.456789012 °C"),
        ("not known", "not known"),
    ],
)
def test_a_value_as_text(value, text):
    assert as_text(value) == text
    assert read("'${x}'", str, value) == text
    assert read("'<${x}>'", str, value) == f"<{text}>"


@pytest.mark.parametrize("value", [[1], {"a": 1}])
def test_what_is_no_text_is_told(value):
    problems = Problems()
    substitute(tree("'a ${x}'"), {"x": value}, Room(problems))
    assert "cannot be put into text" in problems.found[0].message
    assert read("'${x}'", str, value) is not value


def test_references_are_named_in_the_order_of_the_text():
    node = tree("a: '${x} $${not} ${ y }'\nb: ['${z}']\n${key}: c")
    assert [(name, scalar.place.line) for name, scalar in references(node)] == [("x", 1), ("y", 1), ("z", 2)]


def test_an_unknown_reference():
    with pytest.raises(KeyError, match="y"):
        put(tree("a: '${x} ${y}'"), {"x": 1})
    assert plain(put(tree("a: '${x} ${y}'\nb: '${x}'"), {"x": 1}, partly=True)) == {"a": "${x} ${y}", "b": 1}


def test_an_argument_may_be_a_reference_and_dollars_stay():
    node = insert(tree("a: '${x} $$ ${y}'\nb: '${x}'"), {"x": "${z}"}, Room(Problems()))
    assert plain(node) == {"a": "${z} $$ ${y}", "b": "${z}"}


@given(st.text(), st.text())
def test_replaced_text_is_the_value_whatever_it_holds(value, around):
    scalar = Scalar(around.replace("$", "$$") + "${x}", "", True, NOWHERE)
    done = put(scalar, {"x": value})
    assert done.value == around + value
    assert list(references(done)) == []
    assert put(done, {}) is done


# --- bounded

MANY = f"given: {{x: {{default: {'a' * 5000}}}}}\n"


def test_a_text_of_many_references_is_bounded():
    problem = problem_of(with_steps(f"- read: serial number\n  name: '{'${x}' * 2000}'", MANY))
    assert problem.message == "with its values filled in this text has more than 64 KiB"


def test_all_texts_together_are_bounded():
    steps = "".join(f"- read: serial number\n  name: '{number} {'${x}' * 13}'\n" for number in range(200))
    assert problems_of(with_steps(steps, MANY))[0].message.endswith("more than 8 MiB in all")


def test_parameters_that_double_within_each_other_are_bounded():
    part = "given: {x: {}}\nsteps:\n  - use: %s.yaml\n    with: {x: '${x}${x}'}\n"
    files = {f"p{index}": part % f"p{index + 1}" for index in range(25)}
    files["p25"] = "given: {x: {}}\nsteps: [{scan: , name: '${x}'}]\n"
    problems = problems_of(f"{HEAD}steps: [{{use: p0.yaml, with: {{x: ab}}}}]\n", **files)
    assert any("this text has more than 64 KiB" in problem.message for problem in problems)


def test_long_texts_that_are_written_out_are_read():
    assert len(plan_of(with_steps(f"- read: serial number\n  name: {'a' * 70_000}")).steps[1].name) == 70_000
