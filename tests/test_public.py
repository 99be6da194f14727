"""The public names, and what ships with them."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

import benchrig

PROJECT = Path(__file__).parents[1]


def test_the_public_names_are_sorted_and_there() -> None:
    assert benchrig.__all__ == sorted(benchrig.__all__)
    assert all(getattr(benchrig, name) is not None for name in benchrig.__all__)


def test_nothing_else_is_offered() -> None:
    with pytest.raises(AttributeError, match="no attribute 'Runner'"):
        benchrig.Runner  # noqa: B018


def test_types_ship_with_the_package() -> None:
    assert Path(benchrig.__file__).with_name("py.typed").exists()


def test_the_version_is_that_of_the_project() -> None:
    assert tomllib.loads((PROJECT / "pyproject.toml").read_text())["project"]["version"] == benchrig.__version__
