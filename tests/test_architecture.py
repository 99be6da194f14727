"""The shape that DEVELOPERS.md promises: who imports whom, what reaches into foreign objects, how long a file is."""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from tests import syntax

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


@pytest.fixture(scope="module", autouse=True)
def trees() -> Iterator[None]:
    with syntax.kept():
        yield


def tree(module: str) -> ast.Module:
    return syntax.tree(modules()[module])


def nodes(module: str) -> tuple[ast.AST, ...]:
    return syntax.nodes(modules()[module])


@cache
def imports(module: str) -> tuple[str, ...]:
    """All that a file imports, wherever in it: dotted names, of benchrig those of its files."""
    return tuple(_imports(module))


def _imports(module: str) -> Iterator[str]:
    for node in nodes(module):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: write whole names"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            yield from (name if name in modules() else str(node.module) for name in names)


@cache
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


@cache
def allowed(name: str) -> set[str]:
    """What a package may import, by way of others too."""
    if table()[name] == "all":
        return set(table())
    named = set(re.findall(r"`(\w+)`", table()[name]))
    return named.union({name}, *(allowed(each) for each in named))


def test_the_table_has_a_row_for_each_package() -> None:
    assert set(table()) == {package(module) for module in modules()}


def test_a_package_imports_what_its_row_allows() -> None:
    found = {
        f"{module} imports {other}"
        for module in modules()
        for other in own(module)
        if package(other) not in allowed(package(module))
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


# --- fences around libraries

# The files that import bumble, and those that may touch a private member of a library: which.
BUMBLE = {"benchrig.radio.bumble_stack.bumble_api"}
PRIVATE = {
    "benchrig.radio.bumble_stack.bumble_api": {"_send_command", "_send_hci_command_status"},
    "benchrig.radio.bumble_stack.bumble_check": {"_send_command", "_send_hci_command_status"},
    "benchrig.radio.bleak_api": {"_backend", "_disconnected_callback", "_timeout"},
    "benchrig.radio.virtual.clock": {"_clock_resolution"},  # of asyncio's loop
    "benchrig.pytesting.distributing": {"_reschedule", "_split_scope"},  # which xdist's own schedulers replace
}

# Of os and of named tuples: documented in spite of their names.
DOCUMENTED = {"_exit", "_replace"}


def test_bumble_is_imported_by_its_fence_alone() -> None:
    found = {module for module in modules() for name in imports(module) if name.partition(".")[0] == "bumble"}
    assert found == BUMBLE


def test_bleak_is_imported_in_radio_alone() -> None:
    found = {module for module in modules() for name in imports(module) if name.partition(".")[0] == "bleak"}
    assert {package(module) for module in found} == {"radio"}


def is_private(name: str) -> bool:
    return name.startswith("_") and not name.endswith("__") and name not in DOCUMENTED


def defined(module: str) -> set[str]:
    """The private names that a file makes: functions, classes, variables, attributes of its own objects."""
    named = {
        node.name for node in nodes(module) if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef))
    }
    stored = {node.id for node in nodes(module) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
    return named | stored | {node.attr for node in own_attributes(module) if isinstance(node.ctx, ast.Store)}


def own_attributes(module: str) -> Iterator[ast.Attribute]:
    for node in nodes(module):
        if isinstance(node, ast.Attribute) and is_own(node.value):
            yield node


def is_own(node: ast.expr) -> bool:
    """Whether it stands for the object itself: self, cls, super()."""
    if isinstance(node, ast.Call):
        return isinstance(node.func, ast.Name) and node.func.id == "super"
    return isinstance(node, ast.Name) and node.id in ("self", "cls")


@cache
def defined_anywhere() -> set[str]:
    return set().union(*(defined(module) for module in modules()))


def touched(module: str) -> set[str]:
    """Private names of others: one's own are those that a file makes, of `self` those of any class of ours."""
    private = [node for node in nodes(module) if isinstance(node, ast.Attribute) and is_private(node.attr)]
    of_self = {node.attr for node in private if is_own(node.value)} - defined_anywhere()
    return of_self | {node.attr for node in private if not is_own(node.value)} - defined(module)


def test_no_private_member_of_another_is_touched() -> None:
    found = {module: touched(module) - PRIVATE.get(module, set()) for module in modules()}
    assert {module: names for module, names in found.items() if names} == {}


def classes(module: str) -> Iterator[tuple[ast.ClassDef, type]]:
    """Those of a file that extend a foreign one."""
    loaded = importlib.import_module(module)
    for node in tree(module).body:
        if isinstance(node, ast.ClassDef) and any(map(is_foreign, getattr(loaded, node.name).__mro__)):
            yield node, getattr(loaded, node.name)


def is_foreign(kind: type) -> bool:
    return kind.__module__.partition(".")[0] not in ("benchrig", "builtins", "abc", "typing", "enum")


def members_of(kind: type) -> set[str]:
    """What a class has, and what its objects have from their making."""
    maker = getattr(vars(kind).get("__init__"), "__code__", None)
    return {*vars(kind), *(maker.co_names if maker else ())}


def test_no_private_member_of_a_library_is_used_or_replaced_in_a_class_that_extends_it() -> None:
    found: dict[str, set[str]] = {}
    for module in modules():
        for node, kind in classes(module):
            theirs = set().union(*(members_of(base) for base in kind.__mro__ if is_foreign(base)))
            inside = list(ast.walk(node))
            mine = {each.attr for each in inside if isinstance(each, ast.Attribute) and is_own(each.value)}
            mine |= {each.name for each in inside if isinstance(each, (ast.FunctionDef, ast.AsyncFunctionDef))}
            found.setdefault(module, set()).update(filter(is_private, mine & theirs))
    assert {module: names for module, names in found.items() if not names <= PRIVATE.get(module, set())} == {}


# --- tasks


def test_a_task_has_an_owner() -> None:
    """asyncio's own calls stand in tasks.py alone; a TaskGroup owns what it creates."""
    found = {
        f"{module}: {ast.unparse(node)}"
        for module in modules()
        for node in nodes(module)
        if isinstance(node, ast.Attribute) and node.attr in ("create_task", "ensure_future")
        if module != "benchrig.tasks" and not (isinstance(node.value, ast.Name) and node.value.id == "group")
    }
    assert not found


# --- size


def lines(module: str) -> int:
    return len(modules()[module].read_text("utf-8").splitlines())


def test_no_file_is_long() -> None:
    assert not {module for module in modules() if lines(module) > LONGEST}


# --- maps


def listed(package: str) -> set[str]:
    """The files that the docstring of a package lists."""
    said = ast.get_docstring(tree(package)) or ""
    return {f"{package}.{name}" for name in re.findall(r"^(\w+)\.py\s", said, re.MULTILINE)}


def test_a_package_lists_no_file_that_is_gone() -> None:
    packages = [module for module, path in modules().items() if path.stem == "__init__"]
    assert not {name for package in packages for name in listed(package)} - modules().keys()


def test_the_map_of_plan_is_whole() -> None:
    missing = {module for module in modules() if module.startswith("benchrig.plan.")} - listed("benchrig.plan")
    assert not missing, f"add to the docstring of benchrig/plan/__init__.py: {missing}"
