"""Trees to models: types, places, references."""

from __future__ import annotations

from typing import Any, Literal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.errors import PlanError
from benchrig.source.problem import NOWHERE, Problems, printable, suggest
from benchrig.source.shape import LATE, LooseText, Misfit, Number, Reader, insert, plain, references, substitute
from benchrig.source.yaml import Scalar, read_text


class Inner(msgspec.Struct):
    word: Literal["red", "green"] = "red"
    numbers: list[int] = []


class Model(msgspec.Struct):
    text: str = ""
    number: Number | None = None
    flag: bool = False
    inner: Inner | None = None
    names: dict[str, int] = {}
    any: Any = None

    def misfits(self):
        if self.flag and self.number is None:
            yield Misfit("a flag needs a number", "write one", ("flag",))


def read(text: str) -> Any:
    problems = Problems()
    model = Reader(problems).read(tree(text), Model)
    problems.raise_if_any()
    return model


def tree(text: str):
    problems = Problems()
    node = read_text(text, "test.yaml", problems)
    problems.raise_if_any()
    return node


def mistakes(text: str) -> list[str]:
    with pytest.raises(PlanError) as refused:
        read(text)
    return [f"{p.place.line}:{p.place.column} {p.message}" for p in refused.value.problems]


def test_a_model_with_everything():
    assert read(
        "{text: a, number: 1.5, flag: true, inner: {word: green, numbers: [1, 0x2]}, names: {a: 1}, any: [x]}"
    ) == (
        Model(
            "a",
            msgspec.convert("1.5", Any) and read("number: 1.5").number,
            True,
            Inner("green", [1, 2]),
            {"a": 1},
            ["x"],
        )
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("text: 5", "1:7 expected text, found the number 5"),
        ("text: [a]", "1:7 expected text, found a list"),
        ("number: a", "1:9 expected a number, found the text 'a'"),
        ("flag: 1", "1:7 expected true or false, found the number 1"),
        ("flag: true", "1:7 a flag needs a number"),
        ("inner: {word: blue}", "1:15 expected one of red, green; found the text 'blue'"),
        ("inner:\n  numbers: [1, 2.5]", "2:16 expected a whole number, found the number 2.5"),
        ("inner: {numbers: 1}", "1:18 expected a list, found the number 1"),
        ("names: {1: 1}", "1:9 expected text as a key, found the number 1"),
        ("nmae: 1", "1:1 unknown key 'nmae'"),
        ("[]", "1:1 expected a mapping with text, number, flag, inner, names, any; found a list"),
    ],
)
def test_what_does_not_fit(text, said):
    assert mistakes(text) == [said]


def test_all_that_does_not_fit_is_said():
    assert [line[:4] for line in mistakes("text: 5\nnumber: a\nflag: 1\ninner: 2\nx: 3")] == [
        "1:7 ", "2:9 ", "3:7 ", "4:8 ", "5:1 ",
    ]  # fmt: skip


def test_null_where_there_may_be_nothing():
    assert read("number: null") == Model()


def test_a_reference_is_late_and_the_rest_is_judged():
    assert read("{text: '${x}', number: '${y}'}").text is LATE
    assert mistakes("{text: '${x}', number: a}") == ["1:24 expected a number, found the text 'a'"]


@pytest.mark.parametrize(
    ("text", "value", "becomes"),
    [
        ("number: '${x}'", 5, 5),
        ("number: '${x}'", LooseText("5"), 5),
        ("number: '${x}'", LooseText("-2"), -2),
    ],
)
def test_a_replaced_reference_is_judged_as_what_it_is(text, value, becomes):
    assert Reader(Problems()).read(substitute(tree(text), {"x": value}), Model).number == becomes


def test_loose_text_stays_text_where_text_is_due():
    assert Reader(Problems()).read(substitute(tree("text: '${x}'"), {"x": LooseText("00123")}), Model).text == "00123"


def test_references_are_named_in_the_order_of_the_text():
    node = tree("a: '${x} $${not} ${ y }'\nb: ['${z}']\n${key}: c")
    assert [(name, scalar.place.line) for name, scalar in references(node)] == [("x", 1), ("y", 1), ("z", 2)]


def test_an_unknown_reference():
    with pytest.raises(KeyError, match="y"):
        substitute(tree("a: '${x} ${y}'"), {"x": 1})
    assert plain(substitute(tree("a: '${x} ${y}'\nb: '${x}'"), {"x": 1}, partly=True)) == {"a": "${x} ${y}", "b": 1}


def test_an_argument_may_be_a_reference_and_dollars_stay():
    node = insert(tree("a: '${x} $$ ${y}'\nb: '${x}'"), {"x": "${z}"})
    assert plain(node) == {"a": "${z} $$ ${y}", "b": "${z}"}


@given(st.text(), st.text())
def test_replaced_text_is_the_value_whatever_it_holds(value, around):
    scalar = Scalar(around.replace("$", "$$") + "${x}", "", True, NOWHERE)
    done = substitute(scalar, {"x": value})
    assert done.value == around + value
    assert list(references(done)) == []
    assert substitute(done, {}) is done


@given(st.text())
def test_printable_text_steers_no_terminal(text):
    assert printable(text).isprintable()


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("temprature", "did you mean 'temperature'?"),
        ("READ", "did you mean 'read'?"),
        ("zzz", "known here: read, temperature"),
    ],
)
def test_suggestions(word, said):
    assert suggest(word, ["temperature", "read"]) == said


def test_no_suggestion_among_many():
    assert suggest("zzz", map(str, range(100))) == ""
