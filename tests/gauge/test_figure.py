"""From the records of a study to its figures, through the command."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchrig.errors import UsageError
from benchrig.gauge.design import Design
from benchrig.gauge.measures import apart, number_in
from benchrig.gauge.size import size_notes
from tests.gauge.data import aiag
from tests.gauge.kit import begun, bench, forged, gauge


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the AIAG study, as records."""
    folder = tmp_path_factory.mktemp("gauge")
    bench(folder)
    values = aiag()
    units = ",".join(dict.fromkeys(unit for unit, _, _ in values))
    design = begun(folder, units=units, appraisers="A,B,C", repeats=3)
    forged(folder / "study", design, [(cell, values[cell]) for cell in design.order])
    return folder


def figures(folder: Path, *words: str) -> dict[str, Any]:
    done = gauge(folder, "result", "study", "--json", *words)
    assert done.returncode == 0, done.stderr
    [reading] = json.loads(done.stdout)["readings"]
    return reading  # type: ignore[no-any-return]


def test_the_handbook_by_analysis_of_variance(published: Path) -> None:
    """Sums of squares, variances and shares as the AIAG handbook prints them; intervals as computed from the formulas of
    Burdick, Borror and Montgomery."""
    made = figures(published)["anova"]
    assert {row["source"]: round(row["sum_of_squares"], 4) for row in made["table"]} == {
        "unit": 88.3619, "appraiser": 3.1673, "interaction": 0.3590, "repeatability": 2.7589, "total": 94.6471,
    }  # fmt: skip
    pooled, kept = made["pooled"], made["kept"]
    assert made["pools"] is True
    variances = {
        name: pooled[name]["variance"]["value"] for name in ("repeatability", "appraiser", "gauge", "unit", "total")
    }
    assert variances == pytest.approx(
        {"repeatability": 0.039973, "appraiser": 0.051455, "gauge": 0.091429, "unit": 1.086447, "total": 1.177875},
        abs=2e-6,
    )
    assert (pooled["gauge"]["of_total"]["value"], pooled["ndc"]) == (pytest.approx(0.2786, abs=1e-4), 4)
    error = kept["repeatability"]["variance"]
    assert (error["value"], error["low"], error["high"]) == pytest.approx((0.045982, 0.033121, 0.068153), abs=1e-6)


def test_the_handbook_by_ranges(published: Path) -> None:
    made = figures(published)["ranges"]
    found = {name: made[name]["sd"] for name in ("repeatability", "reproducibility", "gauge", "unit", "total")}
    printed = {
        "repeatability": 0.20188,
        "reproducibility": 0.22963,
        "gauge": 0.30575,
        "unit": 1.10456,
        "total": 1.14610,
    }
    assert found == pytest.approx(printed, rel=5e-4)
    assert (made["gauge"]["of_total"], made["ndc"]) == (pytest.approx(0.2668, abs=2e-4), 5)


def test_the_limits_give_the_tolerance(published: Path) -> None:
    made = figures(published)
    assert (made["low"], made["high"], made["tolerance"]) == (-10, 90, 100)
    gauge_sd = made["anova"]["pooled"]["gauge"]["sd"]["value"]
    assert made["anova"]["pooled"]["gauge"]["of_tolerance"]["value"] == pytest.approx(6 * gauge_sd / 100)


def test_the_page_tells_both_methods_and_what_they_are_taken_for(published: Path) -> None:
    said = " ".join(gauge(published, "result", "study").stdout.split())
    assert "10 units, 3 appraisers, 3 repeats: 90 runs" in said
    assert "gauge: 27.9 %" in said
    assert (
        "of the total variation: conditionally acceptable; the upper end of the interval is not acceptable (AIAG"
        in said
    )
    assert "of the tolerance: acceptable (AIAG MSA, 4th edition)" in said
    assert "plan plan.yaml study" in said  # as it is seen from here
    assert "tolerance 100 K (-10 to 90 °C)" in said
    assert "sd, K" in said
    assert (
        said.index("gauge: 27.9 %")
        < said.index("interaction pooled")
        < said.index("interaction kept")
        < said.index("by averages and ranges")
    )
    assert "SIMULATED" not in said


def test_a_missing_measurement_is_named_and_nothing_is_told(tmp_path: Path) -> None:
    bench(tmp_path)
    design = begun(tmp_path)
    forged(tmp_path / "study", design, [(cell, 20.0) for cell in design.order[1:]])
    done = gauge(tmp_path, "result", "study", "--json")
    assert done.returncode == 4
    assert json.loads(done.stdout)["error"] == f"1 measurement of 8 missing: {design.order[0].words}"


def short(folder: Path, count: int = 5) -> Design:
    bench(folder)
    design = begun(folder, units="T001", appraisers="Anna", repeats=count)
    forged(folder / "study", design, [(cell, 20.0 + number % 3) for number, cell in enumerate(design.order)])
    return design


def test_the_short_form(tmp_path: Path) -> None:
    short(tmp_path)
    made = figures(tmp_path, "--reference", "20.5")["repeats"]
    # 20, 21, 22, 20, 21: sd √0.7, bias 0.3, Cg = 0.2·100 / (6 sd)
    assert (made["n"], made["mean"]["value"], made["bias"]["value"]) == (5, pytest.approx(20.8), pytest.approx(0.3))
    assert made["sd"]["value"] == pytest.approx(0.7**0.5)
    assert made["cg"]["value"] == pytest.approx(20 / (6 * 0.7**0.5))
    said = gauge(tmp_path, "result", "study").stdout
    assert "6 sd are 5.02 %" in said
    assert "1.33 or more" in said


@pytest.mark.parametrize("really", ["20.5", "20.5 °C", "293.65 K"])
def test_a_reference_has_a_unit_or_that_of_the_reading(really: str) -> None:
    assert number_in(really, "°C") == 20.5


@pytest.mark.parametrize("really", ["20.5 V", "warm", "nan", "inf °C"])
def test_a_reference_that_is_none_is_refused(really: str) -> None:
    with pytest.raises(UsageError, match=really.split()[0]):
        number_in(really, "°C")


def test_a_reference_of_another_kind_ends_the_command(tmp_path: Path) -> None:
    short(tmp_path)
    assert gauge(tmp_path, "result", "study", "--reference", "20.5 °C").returncode == 0
    assert "20.5 V is a voltage" in gauge(tmp_path, "result", "study", "--reference", "20.5 V").stderr


@pytest.mark.parametrize(("measure", "unit"), [("°C", "K"), ("dBm", "dB"), ("V", "V"), ("", ""), ("beans", "beans")])
def test_the_unit_of_what_differs(measure: str, unit: str) -> None:
    assert apart(measure) == unit


def test_a_small_study_is_told_to_be_one() -> None:
    def notes(units: int, appraisers: int, repeats: int = 3) -> list[str]:
        names = [[f"{number}" for number in range(count)] for count in (units, appraisers)]
        return [*size_notes(Design("s", "p", "h", ["r"], *names, repeats))]

    assert not notes(10, 3)
    assert not notes(5, 2)
    assert ["expected 5 units or more, found 2" in each for each in notes(2, 2)] == [True]
    assert ["1 appraiser shows nothing" in each for each in notes(2, 1)] == [False, True]
    assert ["expected 25 repeats" in each for each in notes(1, 1)] == [True]
    assert not notes(1, 1, 25)


def test_a_reference_goes_with_one_unit(published: Path) -> None:
    assert gauge(published, "result", "study", "--reference", "1").returncode == 4


@pytest.mark.parametrize(
    ("judgement", "note"),
    [
        ({"high": 90}, "the reading has one bound alone: no figure of the tolerance"),
        ({"low": -20, "high": 90}, "the limits differ between the runs"),
    ],
)
def test_without_one_pair_of_limits_there_is_no_tolerance(
    judgement: dict[str, float], note: str, tmp_path: Path
) -> None:
    """For all runs one bound; for one run other limits than for the rest."""
    short(tmp_path)
    runs = sorted((tmp_path / "study" / "runs").iterdir())
    for run in runs if "low" not in judgement else runs[:1]:
        lines = [json.loads(line) for line in (run / "record.jsonl").read_text().splitlines()]
        lines[5]["judgement"] = {"passed": True, "limit": "", "sentence": "", **judgement}
        (run / "record.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines))
    made = figures(tmp_path)
    assert made["notes"][0].startswith(note)
    assert "tolerance" not in made
    assert made["repeats"]["of_tolerance"] is None


def test_simulated_units_and_real_ones_give_no_figure_together(tmp_path: Path) -> None:
    design = short(tmp_path)
    path = tmp_path / "study" / "runs" / "run-0000" / "record.jsonl"
    path.write_text(path.read_text().replace('"simulated": false', '"simulated": true'))
    done = gauge(tmp_path, "result", "study")
    assert (done.returncode, "measurements of simulated units and of real ones" in done.stderr) == (4, True)
    assert design.is_short
