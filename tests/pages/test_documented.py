"""What the reference says of pages: its commands are run, its options and numbers are those of the code."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

import pytest

from benchrig.cli.page import page
from benchrig.pages.reading import DRAWN
from benchrig.pages.readings import PICTURES
from tests.cli.kit import here
from tests.reference import EXAMPLES, PAGES, SECTIONS, words
from tests.run.kit import PLANS

OWN = "The page of a set of runs"


@pytest.mark.slow
def test_the_commands_of_the_reference(tmp_path: Path) -> None:
    shutil.copytree(PLANS, tmp_path / "testplans")
    run = "run testplans/smoke.yaml --radio virtual:testplans/devices/logger.yaml --seed"
    for line in (f"{run} 1", f"{run} 2", "history rebuild results"):
        assert here(*line.split(), cwd=tmp_path).returncode == 0
    next((tmp_path / "results").glob("2*")).rename(tmp_path / "results" / "run-1")
    sections = (OWN, "The page of a unit", "The page of a run again")
    commands = [line for each in EXAMPLES if each.section in sections for line in each.text.splitlines()]
    assert len(commands) == 5
    for command in commands:
        done = here(*shlex.split(command)[1:], cwd=tmp_path)
        assert (done.returncode, done.stderr) == (0, ""), command
        text = (tmp_path / done.stdout.removeprefix("page: ").strip()).read_text("utf-8")
        assert ">SIMULATED<" in text


def test_the_options_and_numbers_are_those_of_the_code() -> None:
    own = {word for row in SECTIONS[OWN].table("option") for word in words(row["option"])}
    assert own == {"--output FILE"}
    assert "--output" in {each for option in page.params for each in option.opts}
    text = PAGES["reference/pages.md"]
    assert f"the last {DRAWN} values" in text
    assert f"more than {PICTURES} readings" in text
