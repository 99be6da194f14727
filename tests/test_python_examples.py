"""The Python of the reference: its tests pass, all of it has types, and each public name has its section and its example."""

from __future__ import annotations

import asyncio
import importlib.util
import inspect
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from mypy import api

import benchrig
from benchrig import testing
from benchrig.testing import VirtualLoop
from tests.reference import LOGGER, PAGES, Example, of_kind

PROJECT = Path(__file__).parents[1]
TESTS = of_kind("test")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """All files of Python, and the logger; what is imported from there is forgotten."""
    before = {*sys.modules}
    monkeypatch.setattr("sys.path", [str(tmp_path), *sys.path])
    monkeypatch.chdir(tmp_path)
    yield written(tmp_path)
    for name in {*sys.modules} - before:
        if getattr(sys.modules[name], "__file__", None) and Path(sys.modules[name].__file__ or "").parent == tmp_path:
            del sys.modules[name]


def written(folder: Path) -> Path:
    for example in of_kind("python", "test"):
        (folder / example.file).write_text(example.text, "utf-8")
    (folder / "logger.yaml").write_bytes(LOGGER.read_bytes())
    return folder


@pytest.mark.parametrize("example", TESTS, ids=str)
def test_examples_pass(example: Example, folder: Path) -> None:
    tests = functions(folder / example.file)
    assert tests, "a file of tests has a function test_…"
    for test in tests:
        if inspect.iscoroutinefunction(test):
            with asyncio.Runner(loop_factory=VirtualLoop) as runner:
                runner.run(test())
        else:
            test()


def functions(file: Path) -> list[Any]:
    spec = importlib.util.spec_from_file_location(file.stem, file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[file.stem] = module
    spec.loader.exec_module(module)
    return [value for name, value in vars(module).items() if name.startswith("test_")]


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_examples_have_types(folder: Path) -> None:
    files = [str(folder / example.file) for example in of_kind("python", "test")]
    options = ["--strict", "--cache-dir", str(PROJECT / ".mypy_cache"), "--config-file", ""]
    told, wrong, code = api.run([*options, *files])
    assert (code, wrong) == (0, ""), told


# --- each name is documented, and used in an example

CODE = "\n".join(example.text for example in of_kind("python", "test"))


@pytest.mark.parametrize("name", testing.__all__)
def test_each_name_of_testing_has_its_row_and_its_example(name: str) -> None:
    page = PAGES["reference/testing.md"]
    assert re.search(rf"`{name}\b[^`]*`", page), f"add {name} to testplans/reference/testing.md"
    assert re.search(rf"\b{name}\b", CODE), f"add an example of {name}"


@pytest.mark.parametrize("name", ["Record", "proofs", "read_record", "run_plan"])
def test_each_way_to_a_record_has_its_row_and_its_example(name: str) -> None:
    assert re.search(rf"`{name}\b[^`]*`", PAGES["reference/testing.md"]), (
        f"add {name} to testplans/reference/testing.md"
    )
    assert re.search(rf"\b{name}\b", CODE), f"add an example of {name}"


@pytest.mark.parametrize("name", [name for name in benchrig.__all__ if name != "__version__"])
def test_each_public_name_is_in_the_reference(name: str) -> None:
    assert any(re.search(rf"\b{name}\b", text) for text in PAGES.values()), f"add {name} to a page of the reference"


def test_what_is_public_says_what_it_is() -> None:
    silent = [name for name in testing.__all__ if not inspect.getdoc(getattr(testing, name)) and name != "DROPPED"]
    assert not silent, f"write a docstring: {', '.join(silent)}"
