"""Stations that are good enough and stations that are not, on simulated units: what the study says of them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.gauge.kit import RADIO, begun, bench, gauge

UNITS = ",".join(f"T{number:03d}" for number in range(1, 7))


def result(folder: Path, *folders: str) -> dict[str, Any]:
    done = gauge(folder, "result", *folders, "--json")
    assert done.returncode == 0, done.stderr
    made = json.loads(done.stdout)
    assert made["simulated"] is True
    [reading] = made["readings"]
    return reading["anova"]  # type: ignore[no-any-return]


@pytest.mark.slow
@pytest.mark.parametrize("air", ["kind", "rough"])
@pytest.mark.parametrize(("noise", "rated"), [("0.05", "acceptable"), ("8", "not acceptable")])
def test_noise_of_a_sensor_against_its_tolerance(noise: str, rated: str, air: str, tmp_path: Path) -> None:
    """Of 100 °C: 6 · 0.05 are 0.3 %, 6 · 8 are 48 %. The air takes nothing from that."""
    bench(tmp_path, value=f"{{noise: {{mean: 21.5 °C, sd: {noise} °C}}}}")
    begun(tmp_path, units=UNITS, repeats=3)
    assert gauge(tmp_path, "run", "study", *RADIO, "--air", air).returncode == 0
    of_tolerance = result(tmp_path, "study")["pooled"]["gauge"]["of_tolerance"]
    assert of_tolerance["low"] < 6 * float(noise) / 100 < of_tolerance["high"]
    said = " ".join(gauge(tmp_path, "result", "study").stdout.split())
    assert f"of the tolerance: {rated} (AIAG" in said


@pytest.mark.slow
def test_two_stations_that_hear_differently(tmp_path: Path) -> None:
    """One station adds 6 dB for a cable that it does not have: each measures its part in a copy of the folder, and the
    study puts it on the appraisers."""
    steps = "  - read: serial number\n  - disconnect:\n"
    bench(tmp_path, steps=steps)
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        plan.read_text().replace("for: 300 ms", "for: 300 ms\n    expect: {rssi: {min: -90 dBm, max: -20 dBm}}")
    )
    begun(tmp_path, units=UNITS, appraisers="line 1,line 2")
    shutil.copytree(tmp_path / "study", tmp_path / "copy")
    for folder, station in (("study", "station: line 1\n"), ("copy", "station: line 2\nrssi_offset: 6 dB\n")):
        (tmp_path / "station.yaml").write_text(station)
        done = gauge(tmp_path, "run", folder, *RADIO, "--station", "station.yaml")
        assert (done.returncode, "12 of 24" in done.stdout) == (0, True), done.stderr
    assert gauge(tmp_path, "result", "study").returncode == 4, "one part is no study"
    made = result(tmp_path, "study", "copy")["pooled"]
    # two values 6 dB apart have a standard deviation of 6/√2
    assert made["appraiser"]["sd"]["value"] == pytest.approx(6 / 2**0.5, abs=0.5)
    assert made["appraiser"]["sd"]["value"] > 5 * made["repeatability"]["sd"]["value"]


LIMITS = """limit_set: cold chain
plan: a plan
version: 1
owner: quality
reason: a narrower product
limits:
  read temperature:
    value: {min: 2 °C, max: 42 °C}
"""


def test_a_limit_set_gives_the_tolerance(tmp_path: Path) -> None:
    bench(tmp_path)
    (tmp_path / "set.yaml").write_text(LIMITS)
    begun(tmp_path, "--limits", "set.yaml", units="T001", appraisers="Anna")
    assert gauge(tmp_path, "run", "study", *RADIO).returncode == 0
    [reading] = json.loads(gauge(tmp_path, "result", "study", "--json").stdout)["readings"]
    assert (reading["low"], reading["high"], reading["tolerance"]) == (2, 42, 40)
    (tmp_path / "set.yaml").write_text(LIMITS.replace("42", "52"))
    shutil.rmtree(tmp_path / "study" / "runs")
    changed = gauge(tmp_path, "run", "study", *RADIO)
    assert (changed.returncode, "is not the limit set as it was when the study began" in changed.stderr) == (4, True)
