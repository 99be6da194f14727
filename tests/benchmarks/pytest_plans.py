"""What pytest adds to a run, and what the plugin adds to a pytest that has no plan."""

from __future__ import annotations

import contextlib
import io
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import click
import pytest

from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.choose import choose_steps
from benchrig.run.station import Station
from benchrig.run.unattended import Unattended
from tests.benchmarks.timing import best_in_turn
from tests.pytesting.conftest import PLUGIN
from tests.run.kit import DEVICES, PLANS

PLAN_COUNT = 100
AIM = 15  # percent of a run
AIM_BARE = 15  # ms of a session
_WITHOUT = ["no:cacheprovider", "no:xdist", "no:hypothesispytest", "no:asyncio", "no:timeout"]


def pytest_plans(rounds: int = 2) -> None:
    for name in ("smoke", "end_of_line"):
        with tempfile.TemporaryDirectory() as folder:
            plans = _copies(name, Path(folder))
            work = {"pytest": lambda plans=plans: _in_pytest(plans), "alone": lambda plans=plans: _in_one_go(plans)}
            best = best_in_turn(rounds, work)
        more = 100 * (best["alone"] / best["pytest"] - 1)
        each = 1000 / best["pytest"] - 1000 / best["alone"]
        click.echo(
            f"{PLAN_COUNT} plans {name} in pytest: {more:.1f} % more than alone, {each:.1f} ms a plan (aim < {AIM} %)"
        )
    bare_pytest()


def _copies(name: str, folder: Path) -> list[Path]:
    """Copies of a plan that ships, with what it uses beside them."""
    for part in ("parts", "names"):
        shutil.copytree(PLANS / part, folder / part)
    (folder / "pytest.ini").write_text("[pytest]\n")
    copies = [folder / f"{name}{number}.yaml" for number in range(PLAN_COUNT)]
    for copy in copies:
        shutil.copy(PLANS / f"{name}.yaml", copy)
    return copies


def _in_pytest(plans: list[Path]) -> float:
    """Plans a CPU second, pytest's own start and end with them."""
    words = [word for name in [*PLUGIN, *_WITHOUT] for word in ("-p", name)]
    radio = f"virtual:{DEVICES / 'logger.yaml'}"
    folder = plans[0].parent
    started = time.process_time()
    with contextlib.redirect_stdout(io.StringIO()) as out:
        code = pytest.main([*words, str(folder), "--benchrig-radio", radio, "--benchrig-acknowledge"])
    assert code == 0, out.getvalue()[-3000:]
    return len(plans) / (time.process_time() - started)


def _in_one_go(plans: list[Path]) -> float:
    started = time.process_time()
    for path in plans:
        plan = load_plan(path, {})
        radio = RadioChoice("virtual", files=(DEVICES / "logger.yaml",))
        results = path.parent / "alone"
        options = RunOptions(plan, choose_steps(plan), Station("bench"), radio, results, acknowledged=True)
        ended = launch(options, Unattended()).record.ended
        assert ended is not None
        assert ended.verdict == "pass", ended.message
    return len(plans) / (time.process_time() - started)


def bare_pytest(rounds: int = 10) -> None:
    """A project without plans, with other YAML."""
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        (here / "test_one.py").write_text("def test_one() -> None:\n    assert True\n")
        (here / "pytest.ini").write_text("[pytest]\n")
        for number in range(20):
            (here / f"other{number}.yaml").write_text("services:\n  web: {image: none}\n")
        kinds = {"with": PLUGIN, "without": ["no:benchrig"]}
        best = dict.fromkeys(kinds, float("inf"))
        for _ in range(rounds):
            for kind, names in kinds.items():
                best[kind] = min(best[kind], _session(here, names))
    more = 1000 * (best["with"] - best["without"])
    click.echo(f"pytest without plans, with the plugin: {more:.1f} ms of CPU more (aim ≤ {AIM_BARE} ms)")


def _session(folder: Path, names: list[str]) -> float:
    words = [word for name in [*names, *_WITHOUT] for word in ("-p", name)]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-m", "pytest", "-q", *words, str(folder)], check=True, capture_output=True, cwd=folder
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
