"""Formats from a few words of YAML, for tests."""

from __future__ import annotations

import pytest

from benchrig.errors import MalformedValue, PlanError
from benchrig.source.problem import Problems
from benchrig.source.shape import Reader
from benchrig.source.yaml import read_text
from benchrig.values.format import Format, FormatSpec, build_format


def spec(text: str) -> FormatSpec:
    """The spec in a YAML text. Raises PlanError."""
    problems = Problems()
    node = read_text(text, "test.yaml", problems)
    read = Reader(problems).read(node, FormatSpec) if node is not None else None
    problems.raise_if_any()
    assert isinstance(read, FormatSpec)
    return read


def form(text: str) -> Format:
    return build_format(spec(text))


def decoded(text: str, data: str):
    return form(text).decode(bytes.fromhex(data))


def encoded(text: str, value) -> str:
    return form(text).encode(value).hex(" ").upper()


def refusal(call, *arguments) -> str:
    """The sentence with which a value or bytes are refused."""
    with pytest.raises(MalformedValue) as refused:
        call(*arguments)
    return f"{refused.value.message}; {refused.value.advice}".removesuffix("; ")


def mistake(text: str) -> str:
    """What is said of a spec that cannot be: 'line:column: message; advice'."""
    with pytest.raises(PlanError) as refused:
        spec(text)
    [problem] = refused.value.problems
    found = f"{problem.place.line}:{problem.place.column}: {problem.message}; {problem.advice}"
    return found.removesuffix("; ")
