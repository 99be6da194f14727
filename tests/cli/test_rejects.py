"""`benchrig rejects`."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from benchrig.cli.rejects_text import RejectsPage
from benchrig.rejects.results import Idle, Rejects, Share, Tight
from tests.cli.kit import here
from tests.rejects.kit import TIGHT, written
from tests.run.kit import DEVICES, PLANS

RADIO = ("--radio", "virtual:device.yaml", "--air", "kind")


def rejects(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return here("rejects", "plan.yaml", *RADIO, *words, cwd=folder)


def test_the_table_and_the_json_say_the_same(tmp_path: Path) -> None:
    written(tmp_path, TIGHT % 20)
    done = rejects(tmp_path, "--units", "8", "--rate", "5 %", "--json")
    made = json.loads(done.stdout)
    assert (done.returncode, made["tested"], made["rate"]["trials"]) == (1, 8, 8)
    hits, first = made["rate"]["hits"], made["rejected"][0]["number"]
    assert 0 < hits == len(made["rejected"]) < 8
    told = rejects(tmp_path, "--units", "8", "--rate", "90 %")
    assert told.returncode == 0
    assert f"REJECTED  {hits} good unit" in told.stdout
    assert f"{hits} of 8: step 3 read temperature, value" in told.stdout
    assert told.stdout.splitlines()[-1].startswith(f"{hits} of 8 good units rejected, ")
    alone = rejects(tmp_path, "--unit", str(first), "--keep", "unit.yaml")
    assert (f"REJECTED  unit {first}" in alone.stdout, alone.returncode) == (True, 1)
    ran = here("run", "plan.yaml", "--radio", "virtual:unit.yaml", "-q", cwd=tmp_path)
    assert ran.returncode == 1, "the file of a unit is that unit"


def test_limits_that_are_too_tight_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    rate = Share(30, 1000, 0.03, 0.02, 0.042, "two")
    tight = Tight("3", "read temperature", "value", "high", "°C", rate, 2995, 21.5, 23.9, 2.4, "normal tolerance limit")
    late = Tight("4", "read again", "value", "low", "°C", rate, 2995, wider=0.5, method="order statistics")
    made = Rejects(
        1, "p", "p.yaml", "", "", "d", ["d.yaml"], "", "rough", 0, 1, 0.95, 0.001, {}, [], 1000, 1000, rate,
        tight=[tight, late], idle=[Idle("9", "wait", 5.0)], interrupted=True, failed=["unit 4: it broke"],
    )  # fmt: skip
    RejectsPage().show(made, at_length=False)
    said = " ".join(capsys.readouterr().out.split())
    assert "TOO TIGHT for 0.1 % step 3 read temperature, value: 3 % are beyond the bound" in said
    assert "max: 23.9 °C in place of 21.5 °C (normal tolerance limit)" in said
    assert "min: wider by 0.5 °C (order statistics)" in said
    assert "CATCH NO FAULT 1 step, 5.0 s of the device 5.000 s step 9 wait" in said
    assert "NOT TESTED unit 4: it broke" in said
    assert "INTERRUPTED: 1000 of 1000 units tested" in said
    assert "30 of 1000 good units rejected, 3 %: 2 % to 4.2 % at 95 % (two-sided)" in said


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--keep", "x.yaml"], "--keep goes with --unit"),
        (["--units", "0"], "0 is not in the range"),
        (["--rate", "0 %"], "--rate is above 0 %"),
        (["--radio", "host"], "only a simulated device can be tested so"),
        (["--escapes", "none.json"], "'none.json' does not exist"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, words: list[str], told: str) -> None:
    written(tmp_path)
    done = here("rejects", "plan.yaml", *RADIO[:2], *words, cwd=tmp_path)
    assert (done.returncode, told in done.stderr, done.stdout) == (4, True, "")


def test_programs_are_not_run_unasked(tmp_path: Path) -> None:
    written(tmp_path, TIGHT % 40 + "  - command: ['true']\n    expect: {exit_code: {equals: 0}}\n")
    assert "would run for each unit" in rejects(tmp_path).stderr
    assert rejects(tmp_path, "--units", "2", "--acknowledge").returncode == 0


@pytest.mark.slow
@pytest.mark.timeout(1800)
@pytest.mark.parametrize(
    ("plan", "device", "units"),
    [
        ("end_of_line", "logger", 80),
        ("nightly_regression", "logger", 25),
        ("box_end_of_line", "transport_box", 80),
        ("box_nightly", "transport_box", 25),
    ],
)
def test_the_plans_that_ship_reject_no_good_unit(plan: str, device: str, units: int) -> None:
    done = here(
        "rejects",
        str(PLANS / f"{plan}.yaml"),
        "--radio",
        f"virtual:{DEVICES / device}.yaml",
        "--units",
        str(units),
        "--json",
        cwd=PLANS,
    )
    made = json.loads(done.stdout)
    assert (made["rate"]["hits"], made["tested"], done.returncode) == (0, units, 0), made.get("steps")
