"""How benchrig speaks: the habits that its messages are kept free of. DEVELOPERS.md says what to write instead."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.syntax import kept, nodes

PACKAGE = Path(__file__).parents[1] / "benchrig"
# What is refused, and what to write instead.
HABITS = {
    r"(?<!there )\b(is|are|was|were) no (?!longer\b)": "is not a …, or: expected X, found Y",
    r"\bstands?\b(?! still\b)": "is, appears, duplicate",
    r"\b(is|are) due\b|\bdue (is|are)\b|\bdue, \S+ there\b": "expected X, found Y",
    r"\b(is|are) there$|\b(is|are) there already\b|\bthat (is|are) there\b": "exists, already exists",
    r"\bcame\b(?! to\b)": "arrived",
    r"\bso (long|many|much)\b": "for TIME, N values, this much",
    r"\bgo(es)? on\b": "continues",
    r"\bby (itself|themselves)\b": "on its own, automatically",
    r"\bof (its|their|your|the bench's) own\b(?! has\b)": "separate, own, dedicated",
    r"\bin vain\b|\bheed(ed)?\b|\bmend\b|\bhung up\b|\bfurther\b": "a plain word",
    r"\bremarks?\b": "note",
    r"\bholes?\b": "outage",
    r"\badopted\b": "standard name",
    r"\b(what|how) .* (is|are) not said\b": "name what is missing",
    r"\bthis machine\b": "this computer",
    r"\bthe bench\b": "benchrig (who acts) or the station (where)",
}
# A file's sentences that say it so with a reason.
SPARED = {
    "radio/offers.py": r"writes there",
    "report/explain.py": r"never came to",  # 'the run never came to step 4'
    "steps/call.py": r"this bench was lent to|the bench",  # the argument of a function is called so
}
# Advice says what to do. These begin otherwise, and lead on all the same.
NO_VERB = ("for example", "did you mean", "its table is empty", "the plan has no given values")


@pytest.fixture(scope="module", autouse=True)
def trees() -> Iterator[None]:
    with kept():
        yield


@cache
def sentences(path: Path) -> tuple[tuple[int, str], ...]:
    return tuple(literals(nodes(path)))


def literals(found: tuple[ast.AST, ...]) -> Iterator[tuple[int, str]]:
    """The literals with a blank in them, but for docstrings; what is filled in is {}."""
    docs = {ast.get_docstring(node, clean=False) for node in found if isinstance(node, _DOCUMENTED)}
    within = {id(part) for node in found if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in found:
        text = None
        if isinstance(node, ast.JoinedStr):
            text = "".join(part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in within:
            text = node.value if node.value not in docs else None
        if text and " " in text.strip():
            yield node.lineno, text


_DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
FILES = sorted(PACKAGE.rglob("*.py"))


def test_no_message_has_a_habit() -> None:
    found = [
        f"{path.relative_to(PACKAGE)}:{line}: {text!r}; write: {HABITS[habit]}"
        for path in FILES
        for line, text in sentences(path)
        for habit in HABITS
        if re.search(habit, text) and not re.search(SPARED.get(path.relative_to(PACKAGE).as_posix(), r"(?!)"), text)
    ]
    assert not found, "\n".join(found)


def test_the_habits_are_found_in_a_message(tmp_path: Path) -> None:
    bad = tmp_path / "bad.py"
    bad.write_text('"""it stands here"""\nraise E(f"{x} is no number", "a unit is due")\n')
    texts = [text for _, text in sentences(bad)]
    assert texts == ["{} is no number", "a unit is due"]
    assert [any(re.search(habit, text) for habit in HABITS) for text in texts] == [True, True]


def advices(path: Path) -> Iterator[tuple[int, str]]:
    """What stands as the keyword `advice` of a call, as far as it is written there."""
    for node in nodes(path):
        if isinstance(node, ast.keyword) and node.arg == "advice":
            for part in ast.walk(node.value):
                if isinstance(part, ast.Constant) and isinstance(part.value, str) and " " in part.value.strip():
                    yield part.lineno, part.value


def test_advice_does_not_begin_with_a_thing() -> None:
    """'the …', 'it …', 'a …', 'what …': an advice begins with what to do."""
    found = [
        f"{path.relative_to(PACKAGE)}:{line}: {text!r}"
        for path in FILES
        for line, text in advices(path)
        if re.match(r"(the|its?|an?|that|this|what|which|whatever|something|another) ", text)
        and not text.startswith(NO_VERB)
    ]
    assert not found, "\n".join(found)
