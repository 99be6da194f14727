"""The shape that DEVELOPERS.md promises: who imports whom, what reaches into foreign objects, how long a file is."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LONGEST = 450


@cache
def modules() -> dict[str, Path]:
    """Every file of the package by its dotted name."""
    found = {}
    for path in sorted((ROOT / "benchrig").rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def tree(module: str) -> ast.Module:
    return ast.parse(modules()[module].read_text("utf-8"))


def imports(module: str) -> Iterator[str]:
    """All that a file imports, wherever in it: dotted names, of benchrig those of its files."""
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: write whole names"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            yield from (name if name in modules() else str(node.module) for name in names)


def own(module: str) -> set[str]:
    return {name for name in imports(module) if name in modules()} - {module}


# --- the table of packages


def package(module: str) -> str:
    """As the table names it: 'radio', '__init__'."""
    return [*module.split("."), "__init__"][1]


@cache
def table() -> dict[str, str]:
    """The rows of DEVELOPERS.md: package, and what it may import."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    rows = re.findall(r"^\| `(\w+)(?:\.py|/)` \| [^|]+ \| ([^|]+) \|$", text, re.MULTILINE)
    assert len(rows) == len(dict(rows))
    return dict(rows)


def allowed(name: str) -> set[str]:
    """What a package may import, by way of others too."""
    if table()[name] == "all":
        return set(table())
    named = set(re.findall(r"`(\w+)`", table()[name]))
    return named.union({name}, *(allowed(each) for each in named))


def test_the_table_has_a_row_for_each_package() -> None:
    assert set(table()) == {package(module) for module in modules()}


@pytest.mark.parametrize("name", sorted({package(module) for module in modules()}))
def test_a_package_imports_what_its_row_allows(name: str) -> None:
    found = {
        f"{module} imports {other}"
        for module in modules()
        if package(module) == name
        for other in own(module)
        if package(other) not in allowed(name)
    }
    assert not found


def test_a_row_names_nothing_that_is_not_used() -> None:
    unused = {
        f"{name}: {each}"
        for name in table()
        for each in re.findall(r"`(\w+)`", table()[name])
        if not any(package(other) == each for module in modules() if package(module) == name for other in own(module))
    }
    assert not unused


# --- circles


def circle(graph: dict[str, set[str]]) -> frozenset[str]:
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return frozenset(error.args[1])
    return frozenset()


def test_no_circle_of_imports() -> None:
    """Imports for types and within functions count."""
    graph = {module: own(module) for module in modules()}
    assert not circle(graph)


# --- size


def lines(module: str) -> int:
    return len(modules()[module].read_text("utf-8").splitlines())


def test_no_file_is_long() -> None:
    assert not {module for module in modules() if lines(module) > LONGEST}
