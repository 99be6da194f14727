"""Units that another stack serves, on an HCI port of the bench: their twins pass what they pass."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pytest

from benchrig.desk.comparing import compare
from benchrig.desk.inspection_file import load_inspection
from tests.cli.calling import call
from tests.radio.unit import PLAN
from tests.run.kit import run
from tests.twin.kit import bad_steps

pytestmark = pytest.mark.slow
STACKS = {"tiny": "tests.radio.tiny_host {port} random", "bumble": "tests.radio.bumble_unit serial:{port} random"}


def unit(folder: Path, stack: str) -> list[str]:
    """The words for a radio with this unit on a port of its own."""
    command = f"{shutil.which('env')} PYTHONPATH={Path(__file__).parents[2]} {sys.executable} -m {STACKS[stack]}"
    return ["--radio", "virtual", "--port", f"pty:{folder / 'port'}", "--start", command]


@pytest.mark.parametrize("stack", STACKS)
def test_the_twin_of_another_stack(stack: str, tmp_path: Path) -> None:
    plan = tmp_path / "plan.yaml"
    plan.write_text(PLAN, encoding="utf-8")
    radio = unit(tmp_path, stack)
    done = call("run", plan, *radio, "--results", tmp_path / "results", "--acknowledge")
    assert done.exit_code == 0, done.output
    (record,) = (tmp_path / "results").glob("*/record.jsonl")
    made = call("twin", "-o", tmp_path / "twin.yaml", "-p", plan, *radio, "--with", record, "--json")
    assert made.exit_code == 0, made.output
    assert json.loads(made.stdout)["characteristics"] >= 2
    for air, seed in (("kind", 1), ("kind", 2), ("rough", 3)):
        assert bad_steps(run(plan, tmp_path / "twin.yaml", air=air, seed=seed)) == {}
    for file, words in (("unit.json", radio), ("twin.json", ["--radio", f"virtual:{tmp_path / 'twin.yaml'}"])):
        assert call("inspect", *words, "-p", plan, "--save", tmp_path / file).exit_code == 0
    found = compare(load_inspection(tmp_path / "unit.json"), load_inspection(tmp_path / "twin.json"))
    assert (found.added, found.removed, found.changed, found.values, found.advertising) == ([], [], [], [], [])
