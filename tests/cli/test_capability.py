"""`benchrig capability` on made-up runs: what it says, and what it never says silently."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result

from benchrig.cli.capability_text import percent
from tests.cli import calling
from tests.cli.calling import call
from tests.history.questions.kit import entry, file_of

READING = "read voltage.value"
_VALUES = [round(float(each), 3) for each in np.random.default_rng(1).normal(5, 1, 40)]
RUNS = [
    *(entry(n, unit=f"U{n}", readings={READING: value, "scan.name": "VF"}) for n, value in enumerate(_VALUES)),
    entry(40, unit="U40", readings={READING: 16.0}),
    *(
        entry(50 + n, unit=f"V{n}", readings={"[bold]scan.\x1b[31mred": 7.0 + n % 2}, limits=(None, 9.0))
        for n in range(12)
    ),
    *(entry(70 + n, unit=f"W{n}", readings={"weigh.mass": 1.0 + n}, limits=(None, None)) for n in range(2)),
    *(entry(80 + n, unit=f"S{n}", readings={READING: 5.0 + n}, simulated=True, radio="virtual") for n in range(3)),
    entry(90, unit="A", readings={READING: 5.0}, left_out=1),
    entry(91, unit="A", readings={READING: 5.0}, limits=(1.0, 8.0)),
]


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return file_of(tmp_path_factory.mktemp("history"), RUNS)


def told(file: Path, *words: str) -> Result:
    return calling.told("capability", "--history", file, *words)


def test_the_page(file: Path) -> None:
    said = told(file, READING).stdout
    for line in (
        "CAPABILITY  read voltage.value, plan end of line",
        "42 values; 1 run left out: partial, of a gauge study, a check of the station, cut off, or",
        "2 pairs of limits are in these runs: a figure for each",
        "LIMITS  0 V to 10 V",
        "41 values of 41 units in 41 runs, 2026-11-02 06:00:00 to 2026-11-02 06:40:00 UTC",
        "observed: 0 below, 1 above, of 41",
        "values are not normal: the parts that a normal distribution has beyond the limits do not hold (Anderson-Darling",
        "no form for other distributions: expected 740 values or more",
        "LIMITS  1 V to 8 V",
        "no capability: expected 2 values or more, found 1",
        "CONTROL CHART  values and moving ranges",
        "the chart takes the values of all 2 pairs of limits together: the process is one",
        "Nelson 1      1  1 point beyond 3 standard deviations",
        "run-000040",
    ):
        assert line in said
    assert "SIMULATED" not in said


def test_risks_and_units_that_failed_before(file: Path) -> None:
    said = told(file, READING, "--uncertainty", "0.5").stdout
    assert "runs of the plan without a value: units that failed before are not in these numbers" in said
    assert "risks with U 0.5 V (k 2), guard band 0 V: bad units" in said
    assert "no risks: expected a standard uncertainty above 0" in told(file, READING, "--uncertainty", "50").stdout


def test_simulated_runs_are_marked_and_alone(file: Path) -> None:
    said = told(file, READING, "--simulated").stdout
    assert said.startswith("SIMULATED: ")
    assert "3 values of 3 units" in said
    assert "expected 30 values or more, found 3: the intervals are wide" in said


def test_one_limit_and_hostile_names(file: Path) -> None:
    said = told(file, "[bold]scan.\x1b[31mred").stdout
    assert "\x1b" not in said
    assert "CAPABILITY  [bold]scan.\\x1b[31mred" in said or "[bold]scan." in said
    assert "LIMITS  at most 9 V" in said
    assert "Cp and Pp are undefined: they need two limits, and this reading has at most 9" in said
    assert "found 2 distinct values: the resolution is too coarse" in said


def test_a_reading_without_a_limit_has_no_capability_and_a_chart(file: Path) -> None:
    said = told(file, "weigh.mass").stdout
    assert "LIMITS  none with a number" in said
    assert "no capability: expected a limit with a number, found none" in said
    assert "no rule of Nelson fires" in said
    assert (
        "western electric" in said.lower()
        or "Western Electric" in told(file, READING, "--rules", "western electric").stdout
    )


def test_json_has_all_of_it(file: Path) -> None:
    made = json.loads(told(file, READING, "--json", "--subgroup", "5").stdout)
    assert {"history", "filters", "simulated", "capability", "chart"} == set(made)
    part = made["capability"]["parts"][0]
    assert part["capability"]["within"]["spread"]["method"] == "pooled by subgroup"
    assert part["capability"]["overall"]["worst"]["value"] < part["capability"]["overall"]["ratio"]["value"]
    assert made["chart"]["points"][0]["size"] == 5
    none = json.loads(told(file, READING, "--json", "--subgroup", "unit").stdout)
    assert (none["chart"], "2 subgroups or more" in none["no_chart"]) == (None, True)
    assert none["capability"]["parts"][0]["refused"] == "expected a subgroup of 2 values or more, found none"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("scan.name",), "is text, or a stream: expected a number, found 40 readings without one"),
        (("read voltage.valu",), "the history has no reading 'read voltage.valu'"),
        ((READING, "--verdict", "pass"), "selected by verdict or cause says nothing"),
        ((READING, "--subgroup", "week"), "expected subgroups by hour, day"),
    ],
)
def test_what_is_refused(file: Path, words: tuple[str, ...], says: str) -> None:
    result = call("capability", "--history", file, *words)
    assert (result.exit_code, says in " ".join(result.stderr.split())) == (4, True), result.stderr


@pytest.mark.parametrize(
    ("share", "told"), [(0, "0 %"), (2.21e-100, "below 1e-07 %"), (2e-9, "2e-07 %"), (0.5, "50 %")]
)
def test_a_share_is_told_as_far_as_it_can_be_believed(share: float, told: str) -> None:
    assert percent(share) == told
