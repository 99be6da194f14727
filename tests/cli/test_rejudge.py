"""`benchrig rejudge`: runs of folders judged again, as a page and as JSON."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import msgspec
import pytest

from benchrig.record.events import DeviceSeen
from benchrig.record.journal import RECORD
from benchrig.rejudge.several import folders_of
from tests.cli.kit import here
from tests.reference import SECTIONS
from tests.rejudge.kit import UNIT
from tests.run.kit import plan_text

PLAN = plan_text("  - read: battery level\n    expect: {value: {min: 60 %}}\n")
WIDE = PLAN.replace("60 %", "40 %")
SET = """\
limit_set: Wide
plan: a plan
version: 1
owner: Quality
reason: The new cell lasts longer.
limits: {read battery level: {value: {min: 45 %}}}
"""


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Results of three units: at 50 %, at 50 %, at 90 %, and the first once more."""
    folder = tmp_path_factory.mktemp("line")
    for name, text in {"plan": PLAN, "wide": WIDE, "set": SET, "a": UNIT, "b": UNIT.replace(":01", ":02")}.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    (folder / "c.yaml").write_text(UNIT.replace("50 %", "90 %").replace(":01", ":03"), encoding="utf-8")
    for unit in ("a", "b", "c", "a"):
        here("run", "plan.yaml", "--radio", f"virtual:{unit}.yaml", cwd=folder)
    assert len(folders_of([folder / "results"])) == 4
    return folder


def rejudged(folder: Path, *words: str, results: str = "results") -> dict[str, Any]:
    done = here("rejudge", results, *words, "--json", cwd=folder)
    assert done.stderr == ""
    made: dict[str, Any] = json.loads(done.stdout)
    return made | {"code": done.returncode}


def shares(made: dict[str, Any], when: str) -> list[tuple[int, int]]:
    return [(made[when][each]["passed"], made[when][each]["of"]) for each in ("first_pass", "final")]


def test_the_page_counts_by_reading_and_tells_each_change_once(line: Path) -> None:
    (line / "tight.yaml").write_text(PLAN.replace("60 %", "95 %"), encoding="utf-8")
    said = here("rejudge", "results", "--plan", "tight.yaml", "--simulated", cwd=line).stdout
    assert "4 runs judged again, none of them had run with this very plan and these limits" in said
    assert "READINGS\n  1 time  read battery level, value: pass becomes fail\n" in said
    assert said.count("90 % is below the minimum 95 %") == 1


@pytest.mark.parametrize("words", [("--plan", "wide.yaml"), ("--plan", "plan.yaml", "--limits", "set.yaml")])
def test_by_wider_limits_all_units_pass(line: Path, words: tuple[str, ...]) -> None:
    made = rejudged(line, *words, "--simulated")
    assert (shares(made, "before"), shares(made, "after")) == ([(1, 3)] * 2, [(3, 3)] * 2)
    assert (made["code"], made["as_run"], made["simulated"]) == (0, 0, True)
    first = made["runs"][0]
    assert (first["before"]["verdict"], first["after"]["verdict"]) == ("fail", "pass")
    change = first["changes"][0]
    assert (change["name"], change["reading"], change["value"], change["unit"]) == (
        "read battery level",
        "value",
        50,
        "%",
    )
    assert (change["was"], change["before"], change["after"]) == (
        "50 % is below the minimum 60 % by 10 %",
        "fail",
        "pass",
    )
    assert ("limit_set" in made) == ("--limits" in words)


def test_by_the_same_limits_nothing_changes(line: Path) -> None:
    made = rejudged(line, "--plan", "plan.yaml", "--simulated")
    assert shares(made, "before") == shares(made, "after") == [(1, 3)] * 2
    assert (made["code"], made["as_run"]) == (0, 4)
    assert all("changes" not in run and "altered" not in run for run in made["runs"])


def test_the_page_tells_it_and_says_simulated(line: Path) -> None:
    done = here("rejudge", "results", "--plan", "wide.yaml", "--simulated", cwd=line)
    assert done.returncode == 0
    assert done.stdout.startswith("SIMULATED")
    for said in (
        "CHANGED  3 runs",
        "fail becomes pass",
        "read battery level, value: fail becomes pass: 50 % satisfies: min 40 %",
    ):
        assert said in done.stdout
    assert "first pass 1 of 3 33.3 % (0.8 % to 90.6 %, 95 % confidence)" in done.stdout  # Clopper and Pearson, 1934


def test_simulated_runs_are_not_mixed_with_others(line: Path) -> None:
    done = here("rejudge", "results", "--plan", "plan.yaml", cwd=line)
    assert done.returncode == 4
    assert "it is a simulated run" in done.stderr
    assert "add --simulated: simulated runs are judged alone" in done.stderr


def test_a_copy_counts_once_and_other_plans_are_named(line: Path, tmp_path: Path) -> None:
    folder = tmp_path / "line"
    shutil.copytree(line, folder)
    [first, *_] = folders_of([folder / "results"])
    shutil.copytree(first, folder / "results" / "copy")
    (folder / "other.yaml").write_text(PLAN.replace("plan: a plan", "plan: another"), encoding="utf-8")
    here("run", "other.yaml", "--radio", "virtual:a.yaml", cwd=folder)
    made = rejudged(folder, "--plan", "plan.yaml", "--simulated")
    assert shares(made, "after") == [(1, 3)] * 2
    said = sorted(each["why"] for each in made["not_read"])
    assert len(said) == 2
    assert said[0].startswith("it is a copy of the run in ")
    assert said[1] == "it is a run of the plan 'another'"


def test_an_altered_record_ends_with_1(line: Path, tmp_path: Path) -> None:
    folder = tmp_path / "line"
    shutil.copytree(line, folder)
    path = folders_of([folder / "results"])[0] / RECORD
    path.write_text(path.read_text(encoding="utf-8").replace('"value":50,', '"value":99,'), encoding="utf-8")
    done = here("rejudge", "results", "--plan", "plan.yaml", "--simulated", cwd=folder)
    assert done.returncode == 1
    assert "ALTERED  1 record" in done.stdout
    assert "its bytes 32 are 50 %" in done.stdout


def test_a_hostile_name_stays_text(line: Path, tmp_path: Path) -> None:
    folder = tmp_path / "line"
    shutil.copytree(line, folder)
    path = folders_of([folder / "results"])[0] / RECORD
    evil = "\x1b[31m<script>"
    lines = path.read_text(encoding="utf-8").splitlines()
    seen = msgspec.json.encode(DeviceSeen(0.1, serial=evil)).decode()
    path.write_text("\n".join([*lines[:1], seen, *lines[1:]]) + "\n", encoding="utf-8")
    done = here("rejudge", "results", "--plan", "wide.yaml", "--simulated", cwd=folder)
    assert "\x1b[31m" not in done.stdout
    assert "<script>" in done.stdout


def test_where_nobody_can_say_anything(line: Path) -> None:
    (line / "more.yaml").write_text(
        WIDE + "  - read: temperature\n    expect: {value: {min: 1 °C}}\n", encoding="utf-8"
    )
    done = here("rejudge", "results", "--plan", "more.yaml", "--simulated", cwd=line)
    assert done.returncode == 5
    assert "CANNOT BE JUDGED  4 runs" in done.stdout
    assert "and 3 that nobody can tell" in done.stdout
    assert "step 4 read temperature: the record has no such step" in done.stdout


def test_a_folder_without_runs(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(PLAN, encoding="utf-8")
    done = here("rejudge", str(tmp_path), "--plan", "plan.yaml", cwd=tmp_path)
    assert done.returncode == 4
    assert "has no record of a run" in done.stderr


def test_the_json_has_the_keys_of_its_reference(line: Path) -> None:
    made = rejudged(line, "--plan", "plan.yaml", "--limits", "set.yaml", "--simulated")
    del made["code"]
    [row] = [row for row in SECTIONS["JSON of the commands"].table("document") if row["document"] == "`rejudge`"]
    named = {*row["keys"].replace("`", "").split(", ")}
    assert named <= made.keys() <= named | {"limit_set"}
    text = SECTIONS["JSON of rejudge"].text
    assert all(f"`{key}`" in text for run in made["runs"] for key in run)


def test_a_partial_run_is_not_taken_for_a_whole_one(tmp_path: Path) -> None:
    more = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"
    for name, text in {"plan": PLAN + more, "wide": WIDE + more, "a": UNIT}.items():
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    for words in ((), ("--only", "read battery level")):
        here("run", "plan.yaml", *words, "--radio", "virtual:a.yaml", cwd=tmp_path)
    said = here("rejudge", "results", "--plan", "wide.yaml", "--simulated", cwd=tmp_path).stdout
    assert "(PARTIAL, in no yield): fail becomes pass" in said
    assert "1 run counted neither way before: partial 1" in said
    assert "first pass 0 of 1" in said
