"""The page of the history against the code: options, keys, columns, words."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import get_args

import click
import pytest

from benchrig.cli.filtering import filter_options
from benchrig.errors import Cause
from benchrig.history.questions.export import COLUMNS
from benchrig.history.questions.life import FoundBy
from benchrig.history.questions.runs import RunRow
from benchrig.history.questions.words import CAUSES, GROUPINGS, VERDICTS
from tests.cli.calling import call
from tests.history.questions.kit import entry, history_of
from tests.reference import EXAMPLES, SECTIONS, words

ASKING = (
    "benchrig history runs",
    "benchrig history unit",
    "benchrig history readings",
    "benchrig history export",
    "benchrig yield",
)
# What the examples of the pages and of --help ask for.
PLAN = "Vaccine fridge logger, end of line"
RUNS = [
    entry(
        1, unit="VFL3-000042", station="line 2", verdict="fail", plan=PLAN, readings={"read temperature.value": 21.5}
    ),
    entry(2, unit="VFL3-000042", plan=PLAN, readings={"read temperature.value": 22.5}),
]


def examples() -> list[str]:
    """The commands that ask a history, on the pages and in the help of each."""
    pages = [line for example in EXAMPLES if example.kind == "sh" for line in example.text.splitlines()]
    helps = [line for command in ASKING for line in call(*command.split()[1:], "--help").stdout.splitlines()]
    return [line.strip() for line in (*pages, *helps) if line.strip().startswith(ASKING)]


def test_the_examples_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    history_of(tmp_path, RUNS).close()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("BENCHRIG_HISTORY", "history.sqlite")
    found = examples()
    assert len(found) > 12
    for line in found:
        result = call(*shlex.split(line)[1:])
        assert result.exit_code == 0, f"{line}: {result.stderr}"
        for file in (*tmp_path.glob("*.csv"), *tmp_path.glob("*.feather")):
            file.unlink()


def table(section: str, column: str) -> dict[str, str]:
    """The other cell of a row by each word of its first one."""
    rows = SECTIONS[section].table(column)
    return {word: [*row.values()][1] for row in rows for word in words(row[column])}


def test_the_filters() -> None:
    @click.command()
    @filter_options()
    def command() -> None:
        """Nothing."""

    told = table("Filters", "option")
    assert {each.partition(" ")[0] for each in told} == {name for each in command.params for name in each.opts}
    assert words(told["--verdict VERDICT"]) == [*VERDICTS]
    assert words(told["--cause CAUSE"]) == [*CAUSES] == [*get_args(Cause)]


def test_the_keys_of_a_run() -> None:
    rows = SECTIONS["Runs of a history"].table("key of a run")
    told = [word for row in rows for cell in row.values() for word in words(cell)]
    assert {*told} == {*RunRow.__struct_fields__, "apart"}


def test_the_columns_of_an_export() -> None:
    told = [word for row in SECTIONS["Exported readings"].table("column") for word in words(row["column"])]
    assert sorted(told) == sorted(COLUMNS)


def test_the_groups_of_a_yield() -> None:
    told = SECTIONS["Groups of a yield"].text.partition("groups: ")[2].partition(". ")[0]
    assert words(told) == [*GROUPINGS]


@pytest.mark.parametrize("word", get_args(FoundBy))
def test_what_finds_a_run(word: str) -> None:
    assert word in words(SECTIONS["The life of a unit"].text)
