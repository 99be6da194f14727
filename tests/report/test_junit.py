"""JUnit XML, held against both schemas and read back by junitparser."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given
from junitparser import JUnitXml
from lxml import etree
from msgspec.structs import replace

from benchrig.record.aggregate import build_record
from benchrig.record.events import Closed, PlannedNode, RunEnded, Where
from benchrig.record.model import Record
from benchrig.report.files.junit import Dialect, junit_xml
from benchrig.values.limit import Limit
from tests.record.examples import FAILED_RUN, failed_run, opened, reading, run_of, run_started
from tests.record.strategies import few, records
from tests.report.schemas import errors
from tests.run.kit import device_text, plan_text, run
from tests.run.test_bench_steps import Answers

DIALECTS: tuple[Dialect, ...] = ("junit-10", "ant")
both = pytest.mark.parametrize("dialect", DIALECTS)


def suite(record: Record, dialect: Dialect = "junit-10") -> Any:
    return etree.fromstring(junit_xml(record, dialect=dialect)).find("testsuite")


def properties(record: Record) -> dict[str, str]:
    return {p.get("name"): p.get("value") for p in suite(record).iter("property")}


def results(record: Record) -> list[str]:
    """The name of the result element of each case; 'pass' without one."""
    kinds = ("failure", "error", "skipped")
    return [next((e.tag for e in case if e.tag in kinds), "pass") for case in suite(record).iter("testcase")]


def every_record_is_valid(dialect: Dialect, record: Record) -> None:
    assert errors(junit_xml(record, dialect=dialect), dialect) == []


def counts_are_those_of_the_elements(dialect: Dialect, record: Record) -> None:
    [parsed] = JUnitXml.fromstring(junit_xml(record, dialect=dialect))
    said = (parsed.tests, parsed.failures, parsed.errors, parsed.skipped)
    parsed.update_statistics()
    assert said == (parsed.tests, parsed.failures, parsed.errors, parsed.skipped)


def names_are_unique(record: Record) -> None:
    for tag in ("testcase", "property"):
        names = [each.get("name") for each in suite(record).iter(tag)]
        assert len(set(names)) == len(names)


def green_only_when_the_unit_passed(record: Record) -> None:
    """Whoever reads nothing but failures and errors must not take an unproved unit for a good one."""
    said = suite(record)
    good = record.ended is not None and record.ended.verdict == "pass" and record.ended.exit_code == 0
    assert good or int(said.get("failures")) + int(said.get("errors")) > 0


@few
@given(records())
def test_what_holds_for_every_record(record: Record) -> None:
    """In one test: a record takes longer to make than all of this."""
    for dialect in DIALECTS:
        every_record_is_valid(dialect, record)
        counts_are_those_of_the_elements(dialect, record)
    names_are_unique(record)
    green_only_when_the_unit_passed(record)


@both
def test_there_is_one_suite_for_a_plan(dialect: Dialect) -> None:
    [found] = etree.fromstring(junit_xml(failed_run(), dialect=dialect))
    assert found.get("name") == "Fridge logger, end of line"


def test_cases_are_grouped_by_plan_and_section() -> None:
    names = [case.get("classname") for case in suite(failed_run()).iter("testcase")]
    assert names[-2:] == ["Fridge logger, end of line.steps", "Fridge logger, end of line.finally"]


def test_a_new_revision_of_a_plan_keeps_the_names_of_its_cases() -> None:
    old, new = (suite(run_of(revision=revision)).find("testcase").attrib for revision in ("3", "4"))
    assert dict(old) == dict(new)


def test_verdicts_become_results() -> None:
    assert results(failed_run()) == ["pass", "pass", "failure", "failure", "failure", "skipped", "skipped"]


@pytest.mark.parametrize(
    ("cause", "verdict", "result"),
    [
        ("limit", "fail", "failure"), ("device", "fail", "failure"), ("link", "fail", "failure"),
        ("station", "error", "error"), ("plan", "error", "error"), ("operator", "error", "error"),
        ("internal", "error", "error"),
    ],
)  # fmt: skip
def test_the_cause_is_the_type(cause: Any, verdict: Any, result: str) -> None:
    events = [
        run_started(),
        opened(),
        Closed(Where("1"), 1.0, 1.0, verdict, cause, "because"),
        RunEnded(1.0, verdict, 1, 1, cause, Where("1")),
    ]
    found = suite(build_record(events)).find("testcase")[0]
    assert (found.tag, found.get("type"), found.get("message")) == (result, cause, "because")


def test_a_failure_says_what_was_measured_against_what() -> None:
    text = suite(failed_run()).findall("testcase")[2].find("failure").text
    for part in ("31.27 °C", "min 15 °C and max 30 °C", "margin -1.27 °C", "raw 37 0C", "fridge.yaml:23"):
        assert part in text


def test_limits_and_values_are_properties() -> None:
    said = properties(failed_run())
    found = {
        name: said[f"read temperature:value{name}"]
        for name in ("", ":unit", ":low", ":high", ":margin", ":passed", ":raw")
    }
    assert list(found.values()) == ["31.27", "°C", "15", "30", "-1.27", "false", "37 0C"]


def test_numbers_in_properties_have_all_their_digits() -> None:
    assert float(properties(run_of(reading(0.1 + 0.2)))["read temperature:value"]) == 0.1 + 0.2


def test_a_stream_has_its_statistics_in_properties() -> None:
    said = properties(failed_run())
    assert [said[f"notify temperature:value:{name}"] for name in ("count", "minimum", "maximum")] == [
        "9",
        "31.25",
        "31.34",
    ]


def test_what_was_simulated_says_so() -> None:
    record = run_of(simulated=True, radio="virtual:fridge")
    assert (properties(record)["simulated"], properties(record)["marks"]) == ("true", "SIMULATED")
    assert properties(run_of())["simulated"] == "false"


def test_an_attempt_before_a_pass_is_a_flaky_failure() -> None:
    found = suite(failed_run()).findall("testcase")[1].find("flakyFailure")
    assert (found.get("type"), found.get("message")) == ("link", "no answer to the connection request within 1 s")


def test_a_step_that_was_cut_off_is_an_error() -> None:
    record = failed_run(until=7)
    assert results(record) == ["pass", "error", "skipped", "skipped", "skipped", "skipped", "skipped"]
    assert suite(record).find(".//error").get("type") == "cut off"


def test_a_run_that_was_cut_off_between_steps_is_an_error() -> None:
    assert results(failed_run(until=6))[-1] == "error"


def test_a_run_that_judged_nothing_is_an_error() -> None:
    passed = [
        run_started(),
        opened(),
        Closed(Where("1"), 1.0, 1.0, "pass"),
        RunEnded(1.0, "pass", 5, 0, message="no limit was judged"),
    ]
    assert results(build_record(passed)) == ["pass", "error"]


def test_a_run_that_ended_before_its_first_step_is_an_error() -> None:
    skipped = Closed(Where("1"), 0.1, 0.0, "skip", message="the run ended before its first step")
    ended = RunEnded(0.1, "error", 7, 0, "station", None, "there is no adapter")
    record = build_record([run_started(), skipped, ended])
    assert results(record) == ["skipped", "error"]
    assert suite(record).find(".//error").get("message") == "there is no adapter"


def test_times_have_three_decimals() -> None:
    found = suite(failed_run())
    assert (found.get("time"), found.find("testcase").get("time")) == ("13.810", "0.498")


@pytest.mark.parametrize(
    ("started", "junit", "ant"),
    [
        ("2026-03-02T08:15:30.250Z", "2026-03-02T08:15:30Z", "2026-03-02T08:15:30"),
        ("2026-03-02T01:15:30+02:00", "2026-03-01T23:15:30Z", "2026-03-01T23:15:30"),
        ("yesterday", "1970-01-01T00:00:00Z", "1970-01-01T00:00:00"),
    ],
)
def test_time_stamps(started: str, junit: str, ant: str) -> None:
    record = run_of(started=started)
    assert [suite(record, dialect).get("timestamp") for dialect in DIALECTS] == [junit, ant]


@both
def test_control_characters_are_shown_as_escapes(dialect: Dialect) -> None:
    record = run_of(reading("\x1b[2J\x00]]>", Limit(equals="ok")), verdict="fail")
    assert r"\x1b[2J\x00]]>" in "".join(p.get("value") for p in suite(record, dialect).iter("property"))


@both
def test_output_of_steps_has_its_place_in_both(dialect: Dialect) -> None:
    assert any("gap_max = 2.004 s" in out.text for out in suite(failed_run(), dialect).iter("system-out") if out.text)


def names(*steps: str) -> list[str]:
    planned = [PlannedNode(str(number), name, "read", "a:1") for number, name in enumerate(steps, 1)]
    return [case.get("name") for case in suite(build_record([run_started(*planned)])).iter("testcase")][:-1]


def test_a_step_that_is_put_in_renames_no_other() -> None:
    assert {*names("scan", "read a")} <= {*names("scan", *(f"step {n}" for n in range(20)), "read a")}


def test_names_that_collide_are_counted() -> None:
    assert names("read", "read", "read (2)", " read ") == ["read", "read (2)", "read (2) (2)", "read (3)"]
    assert names("run", "unit") == ["run (2)", "unit (2)"], "the run itself may be a case, and unit:name is its unit's"


def test_no_name_tells_what_differs_from_unit_to_unit() -> None:
    """Build servers follow cases and properties by their names."""
    steps = """
  - wait: 10 ms
    name: number ${serial}
    save: {elapsed: took}
  - ask: Is ${serial} on the label?
    expect: {answer: {equals: true}}
  - ask: Did it take ${took}?
    expect: {answer: {equals: true}}
  - ask: Is it blue?
"""
    operator = Answers(True)
    text = plan_text(steps, head="given: {serial: {}}\n")
    made = [run(text, device_text(), given={"serial": each}, operator=operator).record for each in ("A-17", "B-18")]
    one, other = ([[e.get("name") for e in suite(each).iter(tag)] for tag in ("testcase", "property")] for each in made)
    assert one == other
    assert one[0][2:] == [
        "number ${serial}",
        "ask Is ${serial} on the label?",
        "ask Did it take ${took}?",
        "ask Is it blue?",
    ]
    assert "ask Is ${serial} on the label?:answer:passed" in one[1]
    assert not [name for name in one[1] if re.match("[0-9]", name)]
    assert [step.planned.name for step in made[0].steps][2:4] == ["number A-17", "ask Is A-17 on the label?"]


def test_the_unit_and_the_radio_do_not_split_a_history() -> None:
    runs = [failed_run(), run_of(simulated=True), run_of()]
    assert {suite(record).get("name") for record in runs} == {"Fridge logger, end of line"}


def test_every_message_of_a_simulated_run_says_so() -> None:
    ended = RunEnded(1.0, "fail", 1, 0, "device", message="it crashed", advice="see start.log")
    run = replace(run_started(), simulated=True, left_out=1)
    said = suite(build_record([run, Closed(Where("1"), 1.0, 1.0, "skip", message="m"), ended]))
    messages = [found.get("message") for tag in ("skipped", "failure") for found in said.iter(tag)]
    assert messages == ["[SIMULATED, PARTIAL] m", "[SIMULATED, PARTIAL] it crashed"]
    assert said.find(".//failure").text == "it crashed\nadvice: see start.log"


def test_the_document_does_not_depend_on_anything_but_the_record() -> None:
    assert junit_xml(failed_run()) == junit_xml(build_record(list(FAILED_RUN)))
