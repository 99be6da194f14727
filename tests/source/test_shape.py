"""Trees to models: types, places, references."""

from __future__ import annotations

from typing import Any, Literal

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchrig.errors import PlanError
from benchrig.source.problem import Problems, printable, suggest
from benchrig.source.shape import LATE, Misfit, Number, Reader
from benchrig.source.yaml import read_text


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


@given(st.text())
def test_printable_text_steers_no_terminal(text):
    assert printable(text).isprintable()


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("temprature", "did you mean 'temperature'?"),
        ("READ", "did you mean 'read'?"),
        ("zzz", "choose one of: read, temperature"),
    ],
)
def test_suggestions(word, said):
    assert suggest(word, ["temperature", "read"]) == said


def test_no_suggestion_among_many():
    assert suggest("zzz", map(str, range(100))) == ""
