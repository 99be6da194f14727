"""What no run could make right: links, limits that nothing could break or keep, services by their numbers."""

from __future__ import annotations

import pytest

from benchrig.radio.unit import LISTEN
from benchrig.steps.connect import LISTENS
from tests.plan.building import HEAD, plan_of, problem_of, problems_of, with_steps

READ = "- read: battery level\n"


def in_finally(body: str, clean_up: str) -> str:
    return with_steps(body) + "finally:\n" + "".join(f"  {line}\n" for line in clean_up.strip().split("\n"))


def test_a_second_connect_while_connected():
    problem = problem_of(with_steps("- connect:"))
    assert "runs while the unit is connected already" in problem.message
    assert problem.advice


@pytest.mark.parametrize(
    "steps", ["- disconnect:\n- connect:", "- disconnect:\n- scan:\n- connect:\n- read: battery level"]
)
def test_a_connect_after_a_disconnect(steps):
    assert plan_of(with_steps(steps))


def test_a_clean_up_after_a_disconnect_has_to_connect():
    problem = problem_of(in_finally("- disconnect:", READ))
    assert problem.message == "'read battery level' needs a connection, but the link was ended by 'disconnect'"
    assert plan_of(in_finally("- disconnect:", f"- connect:\n{READ}"))


def test_a_clean_up_after_steps_without_a_disconnect():
    assert plan_of(in_finally(READ, f"- connect:\n{READ}"))
    assert "needs a connection" in problem_of(in_finally(READ, "- disconnect:\n- discover:")).message


def scanning(keys: str) -> str:
    return f"{HEAD}steps:\n  - scan:\n    {keys}\n"


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ("for: 5 s\n    within: 1 s", "within 1 s ends before the 5 s of for are over"),
        ("for: 5 s\n    within: 6 s\n    attempts: 3", "within 6 s ends before the 5 s of for, 3 times, are over"),
        ("for: 2 s\n    expect: {interval: {max: 3.1 s}}", "2 s is too short to measure an interval of 3.1 s"),
        ("expect: {interval: {nominal: 1 s, tolerance: 10 %}}", "2 s is too short to measure an interval of 1.1 s"),
        ("expect: {services: {contains: 2902}}", "the UUID 2902 is written as a decimal number"),
    ],
)
def test_scans_that_cannot_do_what_is_asked(keys, message):
    assert problem_of(scanning(keys)).message == message


def test_a_scan_that_is_long_enough():
    assert plan_of(scanning("for: 6.2 s\n    within: 7 s\n    expect: {interval: {max: 3.1 s}}"))


@pytest.mark.parametrize("service", ["0xFF10", "'FF10'", "'0xFF10'"])
def test_a_service_by_its_number_in_a_selection(service):
    plan = plan_of(HEAD.replace("name: 'unit*'", f"services: [{service}]") + "steps: [{scan: }]\n")
    assert plan.selection().services == ("0000ff10-0000-1000-8000-00805f9b34fb",)


def connecting(keys: str) -> str:
    return f"{HEAD}steps:\n  - connect:\n    {keys}\n"


@pytest.mark.parametrize("keys", ["within: 2 s", "within: 6 s\n    attempts: 3"])
def test_a_connect_without_a_scan_needs_the_time_to_listen(keys):
    problem = problem_of(connecting(keys))
    assert problem.message.startswith("'connect' listens for 2 s first, since no scan comes before it")
    assert plan_of(connecting(keys).replace("- connect:", "- scan:\n  - connect:"))


def test_a_connect_listens_as_long_as_the_check_says():
    assert LISTENS == LISTEN


@pytest.mark.parametrize("reading", ["rate", "gap_max", "throughput"])
def test_one_notification_has_no_rate(reading):
    step = f"{HEAD}steps:\n  - connect:\n  - notify: battery level\n    count: 1\n    expect: {{{reading}: {{min: 0 s}}}}\n"
    assert f"{reading} needs two notifications, and one is listened for" in [p.message for p in problems_of(step)]


def test_no_more_are_counted_than_are_listened_for():
    step = f"{HEAD}steps:\n  - connect:\n  - notify: battery level\n    count: 20\n    expect: {{count: {{min: 21}}}}\n"
    assert problem_of(step).message == "the count is never above 20: then no more are listened for"


FORMATS = """  attributes:
    state: {uuid: 0xFF01, as: uint8, words: {0: idle, 1: busy}, only_words: true}
    probe: {uuid: 0xFF02, as: uint16, scale: 0.01, unit: °C, words: {0xFFFF: not known}}
    level: {uuid: 0xFF03, as: uint8, unit: '%', valid_max: 100}
    gain: {uuid: 0xFF04, as: float32}
    key: {uuid: 0xFF05, as: hex, length: 4}
    raw level: {uuid: 0xFF06, as: uint8}
"""


def limiting(attribute: str, limit: str) -> str:
    step = f"- read: {attribute}\n  expect: {{value: {limit}}}"
    return with_steps(step, head=FORMATS)


@pytest.mark.parametrize(
    ("attribute", "limit", "message"),
    [
        ("state", "{equals: idl}", "the reading is never that: expected one of the words, found 'idl'"),
        ("state", "{one_of: [idle, bsy]}", "the reading is never that: expected one of the words, found 'bsy'"),
        ("probe", "{equals: 1.005 °C}", "the reading is never that: 1.005 °C cannot be carried in steps of 0.01"),
        ("probe", "{min: 700 °C}", "the reading is 0 to 655.35 °C, so nothing could pass"),
        ("probe", "{nominal: -5 °C, tolerance: 1 K}", "the reading is 0 to 655.35 °C, so nothing could pass"),
        ("level", "{above: 100 %}", "the reading is 0 to 100 %, so nothing could pass"),
        ("level", "{above: -1 %}", "the reading is 0 to 100 %, so nothing could fail"),
        ("level", "{max: 200 %}", "the reading is 0 to 100 %, so nothing could fail"),
        ("level", "{nominal: 50 %, tolerance: 60 %}", "the reading is 0 to 100 %, so nothing could fail"),
        ("gain", "{equals: 3.14159265}", "the reading is never 3.14159265: float32 does not carry it"),
        ("key", "{equals: '01 02'}", "the reading is never that: the value has 4 bytes, found 2 bytes: 01 02"),
        ("raw level", "{bits: {mask: 0x100, value: 0}}", "the mask 0x100 does not fit a reading of 8 bits"),
    ],
)
def test_limits_that_the_format_decides(attribute, limit, message):
    problem = problem_of(limiting(attribute, limit))
    assert problem.message == message


@pytest.mark.parametrize(
    ("attribute", "limit"),
    [
        ("state", "{one_of: [idle, busy]}"), ("state", "{matches: 'id.*'}"), ("probe", "{equals: not known}"),
        ("probe", "{max: 700 °C}"), ("level", "{min: 0 %, max: 100 %}"), ("level", "{min: 20 %, max: 200 %}"),
        ("level", "{equals: 97 %}"), ("gain", "{equals: 3.1415927}"), ("gain", "{equals: NaN}"),
        ("gain", "{max: 1000}"), ("key", "{equals: '01 02 03 04'}"), ("raw level", "{bits: {mask: 0x81, value: 1}}"),
    ],
)  # fmt: skip
def test_limits_that_can_pass_and_fail(attribute, limit):
    assert plan_of(limiting(attribute, limit))


def test_what_a_unit_said_is_no_mistake_of_the_plan():
    steps = "- read: serial number\n  save: {value: told}\n- read: state\n  expect: {value: {equals: '${told}'}}"
    assert plan_of(with_steps(steps, head=FORMATS))


@pytest.mark.parametrize(
    ("attribute", "value", "raw"),
    [("level", "120 %", "78"), ("pair", "{low: 1, high: 3601 s}", "01 11 0E")],
)
def test_what_a_unit_is_to_refuse_is_written_raw(attribute: str, value: str, raw: str) -> None:
    more = "    pair: {uuid: 0xFF07, fields: [{name: low, as: uint8}, {name: high, as: uint16, unit: s, valid_max: 3600}]}\n"
    step = f"- write: {attribute}\n  value: {value}"
    expect = "\n  expect: {att_error: {equals: out of range}}"
    assert problem_of(with_steps(step + expect, head=FORMATS + more)).advice == f"to see it refused, write raw: '{raw}'"
    assert problem_of(with_steps(step, head=FORMATS + more)).advice == ""
