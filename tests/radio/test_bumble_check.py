"""The list of what is taken from bumble: it fits the installed version, says what another lacks, and is complete."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import ModuleType

import bumble.controller
import bumble.device
import bumble.gatt_server
import bumble.hci
import bumble.host
import pytest

import benchrig.radio
from benchrig.radio.bumble_stack.bumble_check import MEMBERS, WRITTEN_FOR, check_api, check_text

ROOT = Path(__file__).parents[2]


def test_the_installed_bumble_fits():
    assert check_api() == []


def test_the_version_is_the_one_that_is_installed_with_benchrig():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert f"bumble=={WRITTEN_FOR}" in project["dependencies"]


def test_a_method_that_is_gone(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delattr(bumble.controller.Controller, "on_hci_le_connection_update_command")
    assert check_api() == ["controller.Controller.on_hci_le_connection_update_command is not there"]


def test_a_private_method_that_takes_something_else(monkeypatch: pytest.MonkeyPatch):
    async def send(self, command, *, timeout=None): ...

    monkeypatch.setattr(bumble.host.Host, "_send_command", send)
    (wrong,) = check_api()
    assert wrong == "host.Host._send_command takes (command, timeout), expected (command, response_timeout)"


def test_an_attribute_that_objects_do_not_have(monkeypatch: pytest.MonkeyPatch):
    def make(self, device): ...

    monkeypatch.setattr(bumble.gatt_server.Server, "__init__", make)
    assert "gatt_server.Server.prepared_writes is not there" in check_api()


def test_a_name_that_a_module_does_not_have(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delattr(bumble.hci, "OwnAddressType")
    assert check_api() == ["hci.OwnAddressType is not there"]


def test_the_text_names_the_first_ones():
    assert check_text(list("abcde")) == f"{WRITTEN_FOR} is not what benchrig needs: a; b; c and 2 more"


# --- the list is complete


@cache
def named() -> set[str]:
    """Every member of the list by its whole name."""
    found = set()
    for line in MEMBERS.replace("\n  ", " ").splitlines():
        owner, has_names, names = line.partition(": ")
        found |= {f"{owner}.{name}" for name in names.split()} if has_names else {line.partition("(")[0]}
    return found


@cache
def modules() -> list[ModuleType]:
    return [
        importlib.import_module(each.name) for each in pkgutil.walk_packages(benchrig.radio.__path__, "benchrig.radio.")
    ]


def ours() -> Iterator[tuple[type, list[type]]]:
    """Our classes that extend one of bumble's, with these."""
    for kind in {kind for module in modules() for kind in vars(module).values() if inspect.isclass(kind)}:
        theirs = [base for base in kind.__mro__ if base.__module__.startswith("bumble.")]
        if kind.__module__.startswith("benchrig.") and theirs:
            yield kind, theirs


def name_of(base: type, member: str) -> str:
    return f"{base.__module__.removeprefix('bumble.')}.{base.__qualname__}.{member}"


def members_of(base: type) -> set[str]:
    """What a class and its objects have."""
    maker = vars(base).get("__init__")
    stored = maker.__code__.co_names if hasattr(maker, "__code__") else ()
    return {*vars(base), *vars(base).get("__annotations__", ()), *stored}


def test_what_is_overridden_is_named():
    missing = {
        name_of(base, member)
        for kind, theirs in ours()
        for base in theirs
        for member in vars(kind).keys() & vars(base).keys()
        if not member.startswith("__")
    }
    assert len(missing) > 30
    assert sorted(missing - named()) == []


def test_what_our_classes_use_of_theirs_is_named():
    missing = set()
    for kind, theirs in ours():
        for node in ast.walk(ast.parse(inspect.cleandoc("\n" + inspect.getsource(kind)))):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value) in ("self", "super()"):
                owner = next((base for base in theirs if node.attr in members_of(base)), None)
                if owner is not None and not node.attr.startswith("__"):
                    missing.add(name_of(owner, node.attr))
    assert len(missing) > 40
    assert sorted(missing - named()) == []


@pytest.mark.slow
def test_every_name_that_is_taken_from_its_modules_is_named():
    used = set()
    for path in (ROOT / "benchrig").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            of = ast.unparse(node.value) if isinstance(node, ast.Attribute) else ""
            if of in ("hci", "att", "ll", "core") and path.name != "bumble_api.py":
                used.add(f"{of}.{node.attr}")
    assert len(used) > 80
    assert sorted(used - named()) == []
