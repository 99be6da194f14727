"""The design of a study: its file, its order, what it may be made of."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.gauge.design import Design, load_design
from tests.gauge.kit import READING, STEPS, begun, bench, gauge

SEVERAL = """  - read: serial number
  - read: temperature
    expect: {value: {nominal: 40 °C, tolerance: 50 K}}
  - read: temperature
    name: after a while
    expect: {value: {max: 90 °C}}
  - repeat: 3
    steps:
      - read: temperature
        name: each round
        expect: {value: {min: 1 °C, max: 90 °C}}
  - disconnect:
"""


def test_the_file_has_what_was_asked_for(tmp_path: Path) -> None:
    bench(tmp_path)
    design = begun(tmp_path, "--seed", "7")
    assert (design.units, design.appraisers, design.repeats, design.seed) == (["T001", "T002"], ["Anna", "Ben"], 2, 7)
    assert (design.plan, design.readings) == ("../plan.yaml", [READING])
    again = gauge(tmp_path, "begin", "study", "plan.yaml", "--units", "T001")
    assert (again.returncode, "is not empty" in again.stderr) == (4, True)


def test_each_appraiser_has_all_units_before_one_comes_again() -> None:
    design = Design("id", "p", "h", [READING], [*"ABCDEFGH"], ["x", "y"], 3)
    rounds = [design.order[i : i + 8] for i in range(0, 48, 8)]
    assert [{(cell.appraiser, cell.repeat) for cell in each} for each in rounds] == [
        {(who, repeat)} for repeat in (1, 2, 3) for who in "xy"
    ]
    assert all(sorted(cell.unit for cell in each) == design.units for each in rounds)
    orders = {tuple(cell.unit for cell in each) for each in rounds}
    assert len(orders) == 6, "nobody knows the next unit from the round before"
    assert design.order == Design("other", "p", "h", [READING], [*"ABCDEFGH"], ["x", "y"], 3).order


def test_all_that_is_wrong_in_the_file_is_told_at_its_place(tmp_path: Path) -> None:
    (tmp_path / "study.yaml").write_text(
        "study: id\nplan: plan.yaml\nplan_hash: h\nreadings: []\nunits: [A, ' B', A]\nappraisers: [x]\nrepeats: 1\n"
    )
    with pytest.raises(PlanError) as found:
        load_design(tmp_path)
    assert [(each.place.line, each.message) for each in found.value.problems if hasattr(each, "place")] == [
        (4, "expected one name or more, found an empty list"),
        (5, "expected a name of 1 to 100 characters, without blanks around it"),
        (5, "duplicate: 'A'"),
        (7, "expected 2 repeats or more, found 1"),
    ]


@pytest.mark.parametrize(
    ("steps", "words", "said"),
    [
        (STEPS.replace("serial number", "battery level"), (), "the plan never reads the serial number"),
        (STEPS, ("--reading", "read temperture.value"), "did you mean 'read temperature.value'"),
        (STEPS, ("--units", "A,A"), "duplicate: 'A'"),
        (STEPS, ("--units", "A"), "one unit shows nothing of several appraisers"),
        (STEPS.replace("min: -10 °C, ", ""), (), "no reading of the plan has two bounds"),
        (SEVERAL, ("--reading", "each round.value"), "takes no reading 'each round.value' once in a run"),
    ],
)
def test_what_a_study_cannot_be_made_of(steps: str, words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    bench(tmp_path, steps=steps)
    done = gauge(tmp_path, "begin", "study", "plan.yaml", "--units", "A,B", "--appraisers", "x,y", *words)
    assert done.returncode == 4
    assert said in done.stderr
    assert not (tmp_path / "study").exists()


def test_the_readings_are_those_with_a_tolerance_unless_one_is_named(tmp_path: Path) -> None:
    bench(tmp_path, steps=SEVERAL)
    assert begun(tmp_path).readings == [READING]
    (tmp_path / "study").rename(tmp_path / "first")
    assert begun(tmp_path, "--reading", "after a while.value").readings == ["after a while.value"]
