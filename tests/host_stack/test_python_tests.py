"""Python tests with the fixtures of pytest on the Linux stack."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.host_stack.conftest import Shell

pytestmark = pytest.mark.slow
PROJECT = Path(__file__).parents[1] / "pytesting/project"


def test_five_of_the_project(shell: Shell, tmp_path: Path) -> None:
    shutil.copytree(PROJECT, tmp_path, dirs_exist_ok=True)
    words = "-q -p no:cacheprovider -p no:hypothesispytest --benchrig-radio=host"
    plugin = "$(python3 -c \"import importlib.metadata as m; print('' if any(e.name == 'benchrig' for e in m.entry_points(group='pytest11')) else '-p benchrig.pytest_plugin')\")"
    chosen = "tests/test_probe.py::test_battery tests/test_probe.py::test_stream tests/test_probe.py::test_difference"
    [said] = shell(
        f"python3 -m pytest {plugin} {words} {chosen} tests/test_probe_plainly.py::test_battery tests/test_probe_plainly.py::test_readings",
        devices=[PROJECT / "devices/probe.yaml"],
        within=250,
    )
    assert said.code == 0, said.out + said.err
    assert "5 passed" in said.out
