"""Guard bands in runs: the good unit passes, the one in the band fails, whatever the air is, and every report says why."""

from __future__ import annotations

import csv
from io import StringIO
from pathlib import Path

import pytest
from junitparser import JUnitXml

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan
from benchrig.record.journal import Journal, read_record
from benchrig.rejects.seen import limits_seen
from benchrig.report.files.junit import junit_xml
from benchrig.report.files.readings_csv import csv_text
from benchrig.testing import device_of, plan_of, run_plan, text_of
from tests.report.test_table import shown

GUARD = {"rule": "ISO 14253-1", "expanded": "${u}", "k": 2}
PLAN = plan_of(
    {"read": "temperature", "expect": {"value": {"min": "2 °C", "max": "8 °C", "guard": GUARD}}},
    {"notify": "humidity", "count": 3, "expect": {"value": {"max": "60 %", "guard": {**GUARD, "expanded": "1 %"}}}},
    given={"u": {"default": "0.2 K"}},
)


def device(temperature: str = "7.8 °C", humidity: str = "59 %") -> dict[str, object]:
    return device_of(
        "unit 1",
        {
            "environmental sensing": {
                "temperature": temperature,
                "humidity": {"properties": ["notify"], "value": humidity, "notify": {"period": "100 ms"}},
            }
        },
    )


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_unit_on_the_acceptance_limits_passes_and_one_in_the_band_fails(air: str) -> None:
    assert run_plan(PLAN, device(), air=air).record.verdict == "pass"
    for reading in ("temperature", "humidity"):
        record = run_plan(
            PLAN, device(**{reading: {"temperature": "7.9 °C", "humidity": "59.5 %"}[reading]}), air=air
        ).record
        assert (record.verdict, record.cause) == ("fail", "limit")
        [failed] = [step for step in record.steps if step.ended and step.ended.verdict == "fail"]
        assert failed.planned.name.endswith(reading)
        assert "is not shown to conform" in record.message


def test_the_uncertainty_may_be_a_value_of_the_run() -> None:
    assert run_plan(PLAN, device("7.9 °C"), given={"u": "0.1 K"}).record.verdict == "pass"
    with pytest.raises(PlanError, match="5 V is a voltage, not a difference of temperature"):
        run_plan(PLAN, device(), given={"u": "5 V"})


def test_every_report_shows_both_limits(tmp_path: Path) -> None:
    with Journal(tmp_path / "record.jsonl") as journal:
        journal.write(*run_plan(PLAN, device("7.9 °C")).events)
    record = read_record(tmp_path / "record.jsonl")
    judged = record.reading("read temperature").judgement
    assert judged is not None
    assert (judged.low, judged.high, judged.stated_low, judged.stated_high) == (2.2, 7.8, 2, 8)
    [row] = [row for row in csv.DictReader(StringIO(csv_text(record))) if row["step_name"] == "read temperature"]
    assert [row[name] for name in ("low", "high", "stated_low", "stated_high", "guard", "margin")] == [
        "2.2", "7.8", "2", "8", "ISO 14253-1, U 0.2 °C", "-0.1",
    ]  # fmt: skip
    [suite] = JUnitXml.fromstring(junit_xml(record))
    facts = {each.name: each.value for each in suite.properties()}
    assert facts["read temperature:value:stated_high"] == "8"
    assert facts["read temperature:value:guard"] == "ISO 14253-1, U 0.2 °C"
    [seen] = [each for each in limits_seen(record) if each.unit == "°C"]
    assert (seen.low, seen.high) == (2, 8), "rejects proposes limits of the plan, by distances to those that count"
    assert seen.above == pytest.approx(-0.1)
    page = shown(record)
    assert "7.8 (of 8)" in page
    assert "7.9 °C is not shown to conform: above the acceptance limit 7.8 °C" in " ".join(page.split())


def test_check_says_where_a_guard_band_makes_no_sense(tmp_path: Path) -> None:
    wide = {
        "read": "temperature",
        "expect": {"value": {"min": "2 °C", "max": "2.3 °C", "guard": {**GUARD, "expanded": "0.2 K"}}},
    }
    (tmp_path / "plan.yaml").write_text(text_of(plan_of(wide)), "utf-8")
    with pytest.raises(PlanError, match="the guard bands leave nothing between 2 °C and 2"):
        load_plan(tmp_path / "plan.yaml")
