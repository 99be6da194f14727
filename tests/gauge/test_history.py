"""Runs of a study in the history: they are there, and no number counts them."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.kit import here
from tests.gauge.kit import RADIO, READING, begun, bench, gauge


def test_runs_of_a_study_count_in_no_yield_and_no_capability(tmp_path: Path) -> None:
    bench(tmp_path)
    begun(tmp_path, units="T001", appraisers="Anna")
    where = ("--history", "runs.sqlite")
    done = gauge(tmp_path, "run", "study", *RADIO, *where)
    assert (done.returncode, done.stderr) == (0, "")
    asked = (*where, "--simulated", "--json")
    found = json.loads(here("yield", *asked, cwd=tmp_path).stdout)
    [told] = found["yields"]
    assert (told["runs"], told["apart"]) == (0, [{"why": "gauge study", "runs": 2}])
    assert here("capability", READING, *asked, cwd=tmp_path).returncode != 0
    ran = here("run", "plan.yaml", *RADIO, *where, cwd=tmp_path)
    assert ran.returncode == 0
    [told] = json.loads(here("yield", *asked, cwd=tmp_path).stdout)["yields"]
    assert (told["runs"], told["apart"]) == (1, [{"why": "gauge study", "runs": 2}])


def test_the_history_of_the_station_counts(tmp_path: Path) -> None:
    """Though the folders of the runs are in that of the study."""
    bench(tmp_path)
    begun(tmp_path, units="T001", appraisers="Anna")
    (tmp_path / "results").mkdir()
    assert here("history", "rebuild", "results", cwd=tmp_path).returncode == 0
    assert gauge(tmp_path, "run", "study", *RADIO).returncode == 0
    runs = json.loads(here("history", "runs", "--simulated", "--json", cwd=tmp_path).stdout)["runs"]
    assert [each["study"] != "" for each in runs] == [True, True]
