"""`--limits` of the commands that take a plan, and what their reports say of a limit set."""

from __future__ import annotations

import csv
import json
from pathlib import Path

from junitparser import JUnitXml

from benchrig.record.journal import read_record
from tests.cli.kit import Files, files, here

WARM = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"
SET = """limit_set: Pharma
plan: {plan}
version: 2.1
owner: A. Berg
reason: They ask for it.
limits:
  read temperature: {value: {max: {most}}}
"""


def bench_of(folder: Path, most: str = "20 °C") -> Files:
    """A unit of 21.5 °C that passes its plan, and a limit set under which it does not."""
    bench = files(folder, WARM)
    name = (folder / "plan.yaml").read_text("utf-8").partition("plan: ")[2].partition("\n")[0]
    (folder / "set.yaml").write_text(SET.replace("{plan}", name).replace("{most}", most), "utf-8")
    return bench


def test_a_run_is_judged_by_it_and_every_report_names_it(tmp_path: Path) -> None:
    bench = bench_of(tmp_path)
    assert here("run", "plan.yaml", "--radio", bench.radio, cwd=tmp_path).returncode == 0
    done = here("run", "plan.yaml", "--radio", bench.radio, "--limits", "set.yaml", "--csv", "out.csv", "--junit", "out.xml", cwd=tmp_path)  # fmt: skip
    assert done.returncode == 1
    assert "limits   Pharma, version 2.1, of A. Berg: They ask for it. (set.yaml)" in done.stdout
    assert "21.5 °C is above the maximum 20 °C by 1.5 °C" in done.stdout
    rows = list(csv.DictReader((tmp_path / "out.csv").read_text("utf-8").splitlines()))
    assert {row["limit_set"] for row in rows} == {"Pharma, version 2.1"}
    [suite] = JUnitXml.fromfile(str(tmp_path / "out.xml"))
    facts = {each.name: each.value for each in suite.properties()}
    [record] = [found for path in tmp_path.glob("results/*/record.jsonl") if (found := read_record(path)).run.limit_set]
    assert record.run.limit_set is not None
    assert (facts["limit_set"], facts["limit_set_hash"]) == ("Pharma, version 2.1", record.run.limit_set.sha256)


def test_check_takes_it_with_its_plan_and_says_what_is_wrong(tmp_path: Path) -> None:
    bench_of(tmp_path)
    done = here("check", "plan.yaml", "--limits", "set.yaml", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "limit set Pharma, version 2.1" in done.stdout
    alone = here("check", "set.yaml", cwd=tmp_path)
    assert alone.returncode == 0
    assert "OK, 1 limit: check them with the plan: benchrig check PLAN --limits set.yaml" in alone.stdout
    bench_of(tmp_path, "5 Hz")
    wrong = here("check", "plan.yaml", "--limits", "set.yaml", cwd=tmp_path)
    assert wrong.returncode == 4
    assert "set.yaml:7:" in wrong.stderr
    (tmp_path / "set.yaml").write_text(SET.replace("{plan}", "no such plan").replace("{most}", "20 °C"), "utf-8")
    wrong = here("run", "plan.yaml", "--limits", "set.yaml", "--radio", "virtual:device.yaml", cwd=tmp_path)
    assert wrong.returncode == 4
    assert "is for the plan 'no such plan', not for '" in wrong.stderr
    schema = json.loads(here("check", "--limits-schema", cwd=tmp_path).stdout)
    assert schema["title"] == "benchrig limit set"


def test_rejects_and_escapes_judge_by_it(tmp_path: Path) -> None:
    bench = bench_of(tmp_path, "20 °C")
    words = ("plan.yaml", "--radio", bench.radio, "--json")
    units = ("--units", "2", "--jobs", "1")
    assert json.loads(here("rejects", *words, *units, cwd=tmp_path).stdout)["rate"]["hits"] == 0
    done = json.loads(here("rejects", *words, *units, "--limits", "set.yaml", cwd=tmp_path).stdout)
    assert [unit["number"] for unit in done["rejected"]] == [1, 2]
    assert done["limit_set"]["name"] == "Pharma"
    refused = here("escapes", *words, "--limits", "set.yaml", "--families", "advertising", cwd=tmp_path)
    assert (refused.returncode, "21.5 °C is above the maximum 20 °C" in refused.stdout + refused.stderr) == (4, True)
