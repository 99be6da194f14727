"""A whole file as one struct: for files that have no references."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from benchrig.source.problem import Problems
from benchrig.source.references import expressions
from benchrig.source.shape import BAD, Reader
from benchrig.source.yaml import read_file

T = TypeVar("T")


def load_struct(path: Path, kind: type[T], what: str, least: str) -> T:
    """PlanError with all problems. `what` is such a file, as 'a study'; `least` says what it has at least."""
    problems = Problems()
    node = read_file(path, problems, least=least)
    problems.raise_if_any()
    assert node is not None
    for name, scalar in expressions(node):
        problems.add(scalar.place, f"{what} has no reference '{name}'", "write the value")
    problems.raise_if_any()
    made = Reader(problems).read(node, kind)
    problems.raise_if_any()
    assert made is not BAD
    return made  # type: ignore[no-any-return]
