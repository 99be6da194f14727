"""The plans that ship, in a folder: all of them, none written over, with their cautions."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from setuptools import Distribution

from benchrig.errors import UsageError
from benchrig.example.building import BuildWithPlans
from benchrig.example.placing import cautions, examples, place
from benchrig.plan.loader import load_plan
from tests.cli.kit import here

PROJECT = Path(__file__).parents[2]
TREE = {path.relative_to(PROJECT) for path in (PROJECT / "testplans").rglob("*.*") if path.is_file()}


def test_all_that_the_repository_has_is_placed_and_built(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of another kind in testplans/ is missing here until it is taken along."""
    monkeypatch.chdir(PROJECT)
    command = BuildWithPlans(Distribution({"packages": []}))
    command.build_lib = str(tmp_path)
    placed = {example.path: example.data for example in examples()}
    left_out = {"__pycache__", "results", "pictures"}  # the last ones are for the README
    mine = {path for path in TREE if not left_out.intersection(path.parts)}
    assert placed == {path: (PROJECT / path).read_bytes() for path in mine}
    assert {*map(Path, command.plans())} == mine


def test_what_is_written_runs_from_its_folder(tmp_path: Path) -> None:
    done = here("example", "fridge", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    folder = tmp_path / "fridge"
    commands = re.findall(r"^  benchrig (.*)$", done.stdout, re.MULTILINE)
    assert [command.split()[0] for command in commands] == ["check", "run", "run"]
    assert here(*commands[0].split(), cwd=folder).returncode == 0
    assert here(*commands[2].split(), cwd=folder).returncode == 1
    assert all((folder / word).exists() for command in commands for word in re.findall(r"testplans/\S+", command))


def test_nothing_is_written_over(tmp_path: Path) -> None:
    mine = tmp_path / "testplans" / "smoke.yaml"
    mine.parent.mkdir()
    mine.write_text("mine")
    done = here("example", ".", cwd=tmp_path)
    assert (done.returncode, mine.read_text(), [*mine.parent.iterdir()]) == (4, "mine", [mine])
    assert "'testplans/smoke.yaml' already exists\n  name an empty folder" in done.stderr
    with pytest.raises(UsageError, match="already exist"):
        place(tmp_path)


def test_every_plan_that_acts_on_a_unit_shows_its_caution(tmp_path: Path) -> None:
    place(tmp_path)
    plans = [load_plan(path) for path in sorted((tmp_path / "testplans").glob("*.yaml"))]
    told = cautions(tmp_path)
    assert told == {plan.path.name: " ".join(plan.caution.split()) for plan in plans if plan.caution}
    harmful = {plan.path.name for plan in plans if any(step.kind.needs_caution for step in plan.steps)}
    assert harmful <= told.keys()
    shown = here("example", "other", cwd=tmp_path).stdout
    assert all(f"{name}: {caution}" in shown for name, caution in told.items())
