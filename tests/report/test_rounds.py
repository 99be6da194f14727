"""Groups and repetitions in every report: each step once, a repetition over all its rounds, no failure hidden, nothing that
was tolerated or left out passed over in silence."""

from __future__ import annotations

import csv
import io
from textwrap import indent
from typing import Any

import pytest
from lxml import etree
from msgspec.structs import replace
from rich.console import Console

from benchrig.record.aggregate import build_record
from benchrig.record.events import Closed, NotJudged, Opened, PlannedNode, RunEnded, Where
from benchrig.record.model import Record
from benchrig.report import whole
from benchrig.report.files.junit import junit_xml
from benchrig.report.files.readings_csv import csv_text
from benchrig.report.table import render
from tests.record.examples import reading, run_started
from tests.record.test_executions import at, closes, opens, record, round_of
from tests.record.test_rounds import Soak, logged
from tests.report.schemas import errors
from tests.run.kit import plan_text, run
from tests.run.test_tree import levels

SOAK = record(
    opens("1"), closes("1"), opens("2"), *round_of(1, "fail"), *round_of(2),
    replace(closes("2", verdict="fail"), root=at("2.1", 1)), RunEnded(9.0, "fail", 1, 0, "device", at("2.1", 1)),
)  # fmt: skip
STEPS = """
  - group: settings
    steps:
      - read: battery level
        name: first level
      - repeat: 6
        name: soak
        steps: [{read: battery level, name: level, expect: {value: {min: 34 %}}}, {wait: 10 ms}]
        expect: {failed: {max: MOST}, level.value.mean: {min: 1 %}}
"""


def ran(most: int) -> Record:
    return run(plan_text(STEPS.replace("MOST", str(most))), levels(90, 80, 20, 70, 10, 60, 50)).record


def shown(record: Record, width: int = 120) -> str:
    file = io.StringIO()
    render(record, Console(file=file, width=width))
    return file.getvalue()


def rows(record: Record) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(csv_text(record), newline="")))


def cases(record: Record) -> dict[str, Any]:
    data = junit_xml(record)
    assert errors(data, "junit-10") == []
    assert errors(junit_xml(record, dialect="ant"), "ant") == []
    return {case.get("name"): case for case in etree.fromstring(data).iter("testcase")}


def test_the_table_has_each_step_once_and_the_rounds_that_failed() -> None:
    text = shown(SOAK)
    assert "\n  2.1 read 2.1" in text
    assert "step 2.1 (round 1) read 2.1: fail" in text
    assert "2.1 (round 2)" not in text
    assert "2 of 5 steps passed, 1 failed, 2 not run" in text


def test_junit_has_a_case_for_each_step_whatever_the_number_of_rounds() -> None:
    found = cases(SOAK)
    assert list(found) == ["read 1", "read 2.1", "read 2.2", "read 3.1", "read 3.2"]
    assert (
        found["read 2.1"]
        .find("failure")
        .get("message")
        .startswith("passed in 1 of 2 rounds, failed in 1; 2.1 (round 1): ")
    )
    assert found["read 2.2"].find("failure") is None


def test_the_csv_has_the_values_of_each_round_and_of_all() -> None:
    found = [row for row in rows(SOAK) if row["step"].startswith("2.1")]
    assert [(row["step"], row["value"]) for row in found if row["value"]] == [
        ("2.1 (round 1)", "1"), ("2.1 (round 2)", "2"),
    ]  # fmt: skip
    over = next(row for row in found if row["rounds"] and row["reading"])
    assert [over[name] for name in ("rounds", "count", "minimum", "maximum", "mean")] == ["2", "2", "1", "2", "1.5"]


def test_the_nearest_limit_is_the_one_that_allowed_it() -> None:
    inner = indent(
        _group(
            "inner", "  - read: battery level\n    name: level\n    expect: {value: {min: 99 %}}\n", "failed: {max: 2}"
        ),
        "    ",
    )
    record = run(plan_text(_group("outer", inner, "failed: {equals: 0}")), levels(90)).record
    assert [*whole.tolerated(record)] == ["step 3.1.1 level failed, which a limit of step 3.1 allows"]


def _group(name: str, steps: str, expect: str) -> str:
    return f"  - group: {name}\n    steps:\n{indent(steps, '    ')}    expect: {{{expect}}}\n"


@pytest.mark.parametrize(
    ("most", "failed", "said"),
    [(0, 2, "4 of 6 steps passed, 2 failed;"), (2, 0, "5 of 6 steps passed, 1 failed (tolerated);")],
)
def test_steps_are_counted_alike_in_the_last_line_and_for_build_servers(most: int, failed: int, said: str) -> None:
    record = ran(most)
    suite = etree.fromstring(junit_xml(record)).find("testsuite")
    assert (suite.get("tests"), suite.get("failures")) == ("6", str(failed))
    assert said in whole.verdict_line(record)


def test_a_step_that_alone_fails_is_counted() -> None:
    group = _group("all", "  - wait: 1 s\n", "elapsed: {max: 0 s}")
    line = whole.verdict_line(run(plan_text(group), levels(90)).record)
    assert "3 of 4 steps passed, 1 failed; 1 limit judged, 1 broken" in line


def test_what_a_limit_allowed_to_fail_is_said_everywhere() -> None:
    record = ran(most=2)
    assert record.ended is not None
    assert record.ended.verdict == "pass"
    text = shown(record)
    assert "step 3.2.1 level failed in 2 of 6 rounds, which a limit of step 3.2 allows\n" in text
    assert "step 3.2.1 (round 2) level (read battery level): fail (limit), tolerated\n" in text
    assert "PASS, SIMULATED: the simulated unit passed (exit code 0): 5 of 6 steps passed, 1 failed (tolerated)" in text
    assert "fail: 2 of 6" in next(line for line in text.splitlines() if line.startswith("    3.2.1 level"))
    level = cases(record)["level"]
    assert level.find("failure") is None
    assert [each.get("type") for each in level.findall("flakyFailure")] == ["limit", "limit"]
    assert "(a limit of step 3.2 allows that)" in level.find("system-out").text
    assert {row["tolerated"] for row in rows(record) if row["verdict"] == "fail"} == {"3.2"}
    assert not [row for row in rows(record) if row["verdict"] == "pass" and row["tolerated"]]


def test_what_no_limit_allowed_is_a_failure_everywhere() -> None:
    record = ran(most=1)
    text = shown(record)
    assert "step 3.2 soak: fail (limit)\n  failed: 2 is above the maximum 1 by 1: step 3.2.1 (round 2) failed: " in text
    assert "tolerated" not in text
    assert "3 settings" in text
    assert "step 3 settings: fail" not in text, "what is in it has said so"
    found = cases(record)
    assert [name for name, case in found.items() if case.find("failure") is not None] == ["soak", "level"]
    assert whole.reason(record).startswith("step 3.2 soak: fail (limit): failed: 2 is above the maximum 1")


def test_a_hand_terminal_has_them_indented() -> None:
    lines = shown(ran(most=2), 59).splitlines()
    at = lines.index("    3.2.1 level")
    assert lines[at + 1] == "        value (n=6) 10 to 80 %  (from 34)  fail: 2 of 6"


def test_readings_are_one_blank_further_in_than_their_step() -> None:
    lines = shown(ran(most=2), 62).splitlines()
    at = next(at for at, line in enumerate(lines) if line.startswith("    3.2.1 level"))
    assert lines[at + 1].startswith("     value (n=6)")


def test_bytes_over_rounds_are_in_pairs() -> None:
    steps = "  - repeat: 2\n    steps: [{read: '2A29', format: {as: hex}, name: maker}]\n"
    device = levels(90).replace("services:", "services:\n  - service: device information\n    characteristics:\n      - "
                                "{characteristic: manufacturer name, properties: [read], value: ab}")  # fmt: skip
    assert "61 62" in shown(run(plan_text(steps), device).record)


def test_rounds_that_are_only_counted_count() -> None:
    soak = build_record(logged([*Soak().run(300, failing=[200]), RunEnded(9.0, "fail", 1, 300, "limit")], least=100))
    assert "passed in 299 of 300 rounds, failed in 1" in cases(soak)["read level"].find("failure").get("message")
    assert "1 of 3 steps passed, 2 failed; " in whole.verdict_line(soak)
    over = next(row for row in rows(soak) if row["step"] == "1.1" and row["reading"] == "stream")
    assert (over["rounds"], over["minimum"], over["maximum"]) == ("300", "1.0", "2.0")


@pytest.mark.parametrize("width", [50, 120])
def test_what_a_condition_left_out_is_shown_with_its_reason(width: int) -> None:
    steps = [
        PlannedNode("1", "read lock", "read", "a:1", limits=["value"]),
        PlannedNode("2", "read door", "read", "a:2", limits=["value"]),
    ]
    why, other = "only if model equals 'pro'; model is 'lite'", "only if market equals 'us'"
    events = [
        run_started(*steps),
        Closed(Where("1"), 0.1, 0.0, "skip", message=why, allowed=True), NotJudged(Where("1"), 0.1, "value", why, allowed=True),
        Opened(Where("2"), 0.1), reading("open", step=2), NotJudged(Where("2"), 0.1, "value", other, allowed=True),
        Closed(Where("2"), 0.1, 0.0, "pass"), RunEnded(1.0, "pass", 0, 1, planned=3, not_judged=2, allowed=2),
    ]  # fmt: skip
    record = build_record(events)
    text = " ".join(shown(record, width).split())
    assert f"step 1 left out: {why}" in text
    assert f"step 2 read door: the limit on value is left out: {other}" in text
    assert "1 of 2 steps passed, 1 left out; " in text
    assert "LIMITS NOT JUDGED" not in text
    assert cases(record)["read lock"].find("skipped").get("message") == f"left out: {why}"
    assert f"value: left out: {other}" in cases(record)["read door"].find("system-out").text
    assert [(row["step"], row["verdict"], row["message"]) for row in rows(record)] == [
        ("1", "left out", why), ("2", "left out", other),
    ]  # fmt: skip


def test_a_condition_in_rounds_is_told_once_with_its_reason() -> None:
    head = "given: {model: {one_of: [pro, lite]}}\n"
    steps = """
  - repeat: 70
    name: soak
    steps:
      - read: battery level
        name: level
        expect: {value: {min: 1 %, only_if: {model: {equals: pro}}}, elapsed: {max: 1 s}}
      - {wait: 10 ms, name: rest, only_if: {model: {equals: pro}}, expect: {elapsed: {max: 1 s}}}
"""
    record = run(plan_text(steps, head=head), levels(50), given={"model": "lite"}).record
    why = "only if model equals 'pro'; model is 'lite'"
    text = shown(record)
    assert f"step 3.2 rest left out in 70 of 70 rounds: {why}\n" in text
    assert text.count("the limit on value is left out") == 1
    assert [line.split()[-2:] for line in text.splitlines() if "value (n=70)" in line or "3.2 rest   " in line] == [
        ["left", "out"]
    ] * 2
    message = cases(record)["rest"].find("skipped").get("message")
    assert message == f"[SIMULATED] left out in 70 of 70 rounds: {why}"
    assert ("3.2", "left out") in {(row["step"], row["verdict"]) for row in rows(record)}
