"""What the reference says of gauge studies: its commands are run, its keys are those of the documents."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from pathlib import Path

import msgspec
import pytest

from benchrig.gauge.figure import Figure
from benchrig.gauge.telling import Progress
from tests.cli.kit import here
from tests.reference import EXAMPLES, SECTIONS, words
from tests.run.kit import PLANS


@pytest.mark.slow
def test_the_commands_of_the_reference(tmp_path: Path) -> None:
    shutil.copytree(PLANS, tmp_path / "testplans")
    [commands, copies] = [
        each.text.splitlines() for each in EXAMPLES if each.section == "Gauge studies" and each.kind == "sh"
    ]
    for line in commands:
        done = here(*shlex.split(line)[1:], cwd=tmp_path)
        assert done.returncode == 0, (line, done.stderr)
    assert "SIMULATED" in done.stdout
    for folder in re.findall(r"study-\S+", copies[0]):
        shutil.copytree(tmp_path / "study", tmp_path / folder)
    both = here(*shlex.split(copies[0])[1:], "--json", cwd=tmp_path)
    assert len(json.loads(both.stdout)["doubled"]) == 12


@pytest.mark.parametrize(("row", "kind"), [(0, Progress), (1, Figure)])
def test_the_keys_of_the_documents(row: int, kind: type[msgspec.Struct]) -> None:
    told = SECTIONS["JSON of gauge"].table("document")[row]
    fields = msgspec.structs.fields(kind)
    assert words(told["keys"]) == [each.name for each in fields if each.required]
    assert words(told["keys that may be left out"]) == [each.name for each in fields if not each.required]


def test_the_options_of_the_commands() -> None:
    from benchrig.cli.gauge_begin import begin
    from benchrig.cli.gauge_run import run

    for name, command in (("begin", begin), ("run", run)):
        rows = SECTIONS["Gauge studies"].table(f"option of `gauge {name}`")
        told = {word.split()[0] for row in rows for word in words(row[f"option of `gauge {name}`"])}
        told |= {"--port", "--start", "--air"} if name == "run" else set()
        assert told == {each.opts[-1] for each in command.params if each.opts[-1].startswith("--")}
