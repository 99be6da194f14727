"""What pytest adds to a run, and what the plugin adds to a pytest that has no plan."""

from __future__ import annotations

import contextlib
import gc
import io
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pytest

from benchrig.launch import RunOptions, launch
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.choose import choose_steps
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station
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
            _print_plans(name, _copies(name, Path(folder)), rounds)
    bare_pytest()


def _print_plans(name: str, plans: list[Path], rounds: int) -> None:
    count = len(load_plan(plans[0]).nodes)
    work = {
        "pytest": lambda: _in_pytest(plans),
        "alone": lambda: _in_one_go(plans),
        "empty": lambda: _empty_items(plans, count),
    }
    each = {kind: 1000 / rate for kind, rate in best_in_turn(rounds, work).items()}
    alone, more = each["alone"], each["pytest"] - each["alone"]
    own = more - each["empty"]
    click.echo(
        f"{len(plans)} plans {name} in pytest: {each['pytest']:.1f} ms a plan, alone {alone:.1f} ms: "
        f"{more:.1f} ms or {100 * more / alone:.1f} % more (aim < {AIM} %)"
    )
    click.echo(
        f"  of these for {count} empty items of pytest: {each['empty']:.1f} ms; for what the plugin does: "
        f"{own:.1f} ms or {100 * own / alone:.1f} %"
    )


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
    radio = f"virtual:{DEVICES / 'logger.yaml'}"
    return len(plans) / _pytest([*PLUGIN, *_WITHOUT], plans, "--benchrig-radio", radio, "--benchrig-acknowledge")


def _empty_items(plans: list[Path], count: int) -> float:
    """The same for items that do nothing, as many of them a file."""
    return len(plans) / _pytest(["no:benchrig", *_WITHOUT], plans, plugins=[_EmptyItems(count)])


def _pytest(names: list[str], plans: list[Path], *more: str, plugins: Sequence[object] = ()) -> float:
    """Its CPU seconds. It looks for garbage before it ends."""
    words = [word for name in names for word in ("-p", name)]
    started = time.process_time()
    with contextlib.redirect_stdout(io.StringIO()) as out:
        code = pytest.main([*words, str(plans[0].parent), *more], [*plugins])
    assert code == 0, out.getvalue()[-3000:]
    return time.process_time() - started


@dataclass
class _EmptyItems:
    """A plugin that finds them in each plan."""

    count: int

    def pytest_collect_file(self, file_path: Path, parent: pytest.Collector) -> pytest.File | None:
        is_copy = file_path.suffix == ".yaml" and file_path.parent == parent.path
        return _EmptyFile.from_parent(parent, path=file_path, count=self.count) if is_copy else None


class _EmptyFile(pytest.File):
    def __init__(self, *, count: int, **known: Any) -> None:
        super().__init__(**known)
        self.count = count

    def collect(self) -> Iterable[pytest.Item]:
        return [_EmptyItem.from_parent(self, name=f"step {number}") for number in range(self.count)]


class _EmptyItem(pytest.Item):
    def runtest(self) -> None:
        pass


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
    gc.collect()  # as pytest does, of whatever either has left
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
