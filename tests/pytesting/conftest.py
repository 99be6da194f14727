"""A project as a firmware team would write it, copied for each test, and pytest in it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from importlib.metadata import entry_points
from pathlib import Path

import pytest
import sqlalchemy.dialects.postgresql  # noqa: F401

import benchrig.pytest_plugin
import benchrig.pytesting.collecting
import benchrig.pytesting.failing
import benchrig.pytesting.in_loop
import benchrig.pytesting.loops
import benchrig.report.table  # noqa: F401
from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station
from tests.pytesting.kit import Session

# Its Python tests are for the sessions that are started in it.
collect_ignore = ["project"]
PROJECT = Path(__file__).with_name("project")
# An environment that was made before the plugin was does not know it.
PLUGIN = (
    [] if [each for each in entry_points(group="pytest11") if each.name == "benchrig"] else ["benchrig.pytest_plugin"]
)
_ALWAYS = [word for name in [*PLUGIN, "no:hypothesispytest", "no:timeout"] for word in ("-p", name)]
Start = Callable[..., Session]


@pytest.fixture(scope="session")
def loaded() -> None:
    """pytester forgets what its sessions have loaded, and would load it anew for each: what was there before stays."""
    plan = load_plan(PROJECT / "plans/smoke.yaml", {})
    radio = RadioChoice("virtual", files=(PROJECT / "devices/probe.yaml",))
    launch(RunOptions(plan, plan.nodes, Station("loading"), radio, None), Unattended())


@pytest.fixture
def project(loaded: None, pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(PROJECT, pytester.path, dirs_exist_ok=True)
    monkeypatch.setenv("COLUMNS", "200")
    return pytester.path


@pytest.fixture
def start(pytester: pytest.Pytester, project: Path) -> Start:
    """pytest in the folder of the project, in this process."""

    def started(*words: str | Path) -> Session:
        return Session.of(pytester, [*_ALWAYS, *map(str, words)])

    return started


@pytest.fixture
def outside(pytester: pytest.Pytester, project: Path) -> Callable[..., pytest.RunResult]:
    """The same in a process of its own: for workers and signals."""
    return lambda *words: pytester.runpytest_subprocess(*_ALWAYS, *map(str, words), timeout=120)
