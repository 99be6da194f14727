"""Published examples from the folders of runs to the printed figure, by the commands that people use."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from tests.cli.calling import call
from tests.gauge.kit import begun, bench, forged
from tests.history.folders import measured, write
from tests.study.gauge.data import gaugerr
from tests.study.test_describe import ROUNDED, SETS, data


def line(folder: Path, runs: Sequence[Mapping[str, float]], low: float = -1e9, high: float = 1e9) -> Path:
    """The folders of these runs, and a history of them."""
    for number, values in enumerate(runs):
        write(folder / "results" / f"run-{number:04}", measured(number, values, low=low, high=high, measure="V"))
    history = folder / "history.sqlite"
    added = call("history", "add", folder / "results", "--history", history)
    assert added.exit_code == 0, added.output
    return history


def capability(history: Path, reading: str) -> dict[str, Any]:
    told = call("capability", reading, "--history", history, "--json")
    assert told.exit_code == 0, told.output
    figure: dict[str, Any] = json.loads(told.stdout)["capability"]["parts"][0]["capability"]
    return figure


# NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6: limits 8 and 20, mean 16, standard deviation 2.
def test_capability_of_the_handbook(tmp_path: Path) -> None:
    history = line(tmp_path, [{"turn": value} for value in (14.0, 16.0, 18.0)], 8, 20)
    page = call("capability", "turn.value", "--history", history, columns=140).stdout
    cells = [[cell.strip() for cell in row.split("  ") if cell.strip()] for row in page.splitlines()]
    values = {(row[0], row[-1]): row[1] for row in cells if len(row) == 4}
    assert "LIMITS  8 V to 20 V" in page
    assert values["sd overall", "n - 1, 2 degrees of freedom"] == "2 V"
    assert (values["Pp", "overall"], values["Ppk", "overall"]) == ("1.000", "0.667")
    whole = capability(history, "turn.value")["overall"]
    assert (whole["upper"]["value"], whole["lower"]["value"]) == pytest.approx((0.6667, 1.3333), abs=5e-5)


# NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1: 4 of 20 fail. Its two-sided limits at 95 %: exact
# (Clopper and Pearson) 0.057334 to 0.436614, Wilson 0.080658 to 0.416017.
def test_yield_of_the_handbook(tmp_path: Path) -> None:
    history = line(tmp_path, [{"weigh": 12.0 if number % 5 == 2 else 5.0} for number in range(20)], 0, 10)
    told = json.loads(call("yield", "--history", history, "--json").stdout)["yields"][0]["first_pass"]
    assert (told["passed"], told["of"]) == (16, 20)
    assert told["exact"] == pytest.approx([1 - 0.436614, 1 - 0.057334], abs=1e-6)
    assert told["wilson"] == pytest.approx([1 - 0.416017, 1 - 0.080658], abs=1e-6)
    page = call("yield", "--history", history, columns=140).stdout
    assert "first pass      16  20  80.00 %  56.34 % to 94.27 %  58.40 % to 91.93 %" in page
    # the same four are beyond the limits of the reading
    outside = capability(history, "weigh.value")["outside"]["observed"]
    assert [outside[key] for key in ("value", "low", "high")] == pytest.approx([0.2, 0.057334, 0.436614], abs=1e-6)


def certified(folder: Path, names: Sequence[str]) -> None:
    """All sets in the same runs, each as a step of its own."""
    sets = {name: data(name) for name in names}
    longest = max(map(len, sets.values()))
    runs = [{name: values[at] for name, values in sets.items() if at < len(values)} for at in range(longest)]
    history = line(folder, runs)
    for name, values in sets.items():
        found, one = capability(history, f"{name}.value"), SETS[name]
        assert found["n"] == len(values)
        assert found["mean"]["value"] == pytest.approx(float(one["mean"]), rel=2e-15)
        sd = found["overall"]["spread"]["sd"]["value"]
        assert sd == pytest.approx(float(one["sd"]), rel=ROUNDED.get(name, 1e-12))


# NIST, Statistical Reference Datasets, univariate summary statistics: certified means and standard deviations.
def test_certified_sets(tmp_path: Path) -> None:
    certified(tmp_path, ["mavro", "michelson", "numacc1"])


@pytest.mark.slow
def test_long_certified_sets(tmp_path: Path) -> None:
    certified(tmp_path, ["lew", "lottery", "numacc2", "numacc3", "numacc4"])


# The example data of the R package gaugerr (S. Bell), its variances and MLS intervals; the other published study, by both
# methods, is in tests/gauge/test_figure.py.
def test_a_published_gauge_study(tmp_path: Path) -> None:
    bench(tmp_path)
    data, repeats = gaugerr(), range(3)
    design = begun(tmp_path, units=",".join(data.units), appraisers=",".join(data.appraisers), repeats=3)
    cells = {(unit, who, repeat): data.values[u][a][repeat] for u, unit in enumerate(data.units)
             for a, who in enumerate(data.appraisers) for repeat in repeats}  # fmt: skip
    order = [(cell, cells[cell.unit, cell.appraiser, cell.repeat - 1]) for cell in design.order]
    forged(tmp_path / "study", design, order)
    told = call("gauge", "result", tmp_path / "study", "--json")
    assert told.exit_code == 0, told.output
    reading = json.loads(told.stdout)["readings"][0]
    kept = reading["anova"]["kept"]
    assert reading["anova"]["pools"] is False
    gauge = kept["gauge"]["variance"]
    assert [gauge[key] for key in ("value", "low", "high")] == pytest.approx([1.803704, 1.206226, 27.017239], abs=1e-6)
    assert kept["gauge"]["of_total"]["value"] == pytest.approx(0.1897, abs=5e-5)
    assert kept["gauge"]["of_tolerance"]["value"] == pytest.approx(6 * math.sqrt(1.803704) / 100, abs=1e-6)
    assert reading["ranges"]["mean_range"] == pytest.approx(1.066667, abs=1e-6)
