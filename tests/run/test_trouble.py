"""Devices and stations that misbehave: each ends with the right verdict and cause, and says why."""

from __future__ import annotations

import time

import pytest

from benchrig.radio.virtual import DROPPED, AirPdu, Faults
from benchrig.record.events import Where
from tests.run.kit import device_text, plan_text, run

TEMPERATURE = """
services:
  - service: environmental sensing
    characteristics:
      - {{characteristic: temperature, properties: [read, notify], value: 21.5 °C{more}}}
"""
READ_RESPONSE = 0x0B


def thermometer(keys: str = "", **device: str) -> str:
    return device_text(TEMPERATURE.format(more=", " + keys if keys else ""), **device)


READ = "  - read: temperature\n    expect: {value: {max: 30 °C}}\n"


def test_an_unanswered_request_is_the_devices_fault() -> None:
    def forget(pdu: AirPdu) -> object:
        return DROPPED if pdu.att_opcode == READ_RESPONSE else None

    ran = run(plan_text(READ + "    within: 2 s\n  - read: temperature\n    name: again\n"), thermometer(),
              faults=Faults(fate=forget))  # type: ignore[arg-type]  # fmt: skip
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.root) == ("fail", "device", Where("3"))
    assert "did not answer within 2 s" in ran.ended.message
    assert ran.step("again").ended.verdict == "skip", "the bearer is stuck: the link was given up"
    assert ran.step("again").ended.root == Where("3")
    assert ran.tasks_left == 0


def test_a_silent_attribute_of_the_device() -> None:
    ran = run(plan_text(READ), thermometer("on_read: {silent: true}"))
    assert (ran.ended.cause, ran.ended.exit_code) == ("device", 1)


def test_a_device_that_stops_advertising_before_connect() -> None:
    ran = run(plan_text(READ), thermometer(more="faults: {stop_advertising_after: 200 ms}"))
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.root) == ("fail", "link", Where("2"))
    assert ran.verdicts() == ["pass", "fail", "skip"]


def test_a_device_that_leaves_connection_requests_unanswered_for_a_while() -> None:
    steps = "steps:\n  - scan:\n    for: 300 ms\n  - connect:\n    attempts: 3\n    expect: {attempts: {max: 3}}\n"
    ran = run(plan_text(READ, reach=steps), thermometer(more="faults: {refuse_connections: 1}"))
    assert ran.ended.verdict == "pass"
    assert ran.step("connect").ended.attempts == 2
    assert [a.where.attempt for a in ran.step("connect").retries] == [1]


def test_a_device_that_disconnects_in_mid_read() -> None:
    ran = run(plan_text(READ), thermometer("on_read: {disconnect: true}"))
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "link")
    assert "read temperature: the link was lost (remote user terminated connection)" in ran.ended.message


def test_a_link_lost_between_steps_is_blamed_once() -> None:
    ran = run(plan_text("  - wait: 3 s\n" + READ), thermometer(more="faults: {disconnect_after: 1 s}"))
    assert (ran.ended.cause, ran.ended.root) == ("link", Where("3"))
    assert ran.verdicts() == ["pass", "pass", "fail", "skip"]


def test_a_flood_of_notifications_is_counted_to_the_last() -> None:
    flood = "notify: {period: 1 ms}"
    steps = "  - notify: temperature\n    count: 5000\n    within: 60 s\n    expect: {count: {equals: 5000}, value: {max: 30 °C}}\n"
    ran = run(plan_text(steps), thermometer(flood))
    assert ran.ended.verdict == "pass"
    assert ran.reading(3).samples.count == 5000
    assert len(ran.events) < 40, "no event a sample"


def test_a_flood_that_nobody_asked_for_does_not_disturb_a_read() -> None:
    steps = "  - notify: temperature\n    for: 1 s\n" + READ
    assert run(plan_text(steps), thermometer("notify: {period: 1 ms}")).ended.verdict == "pass"


def test_a_name_full_of_control_characters_stays_text() -> None:
    name = r'"unit \e[2J\r\n\x07 ]]> <b> \u202e"'
    device = device_text(TEMPERATURE.format(more="")).replace("name: unit 1}", f"name: {name}}}")
    ran = run(plan_text(READ, reach=REACH_WITH_NAME), device)
    assert ran.ended.verdict == "fail"
    assert "\x1b" not in ran.ended.message
    assert "\\x1b[2J" in ran.ended.message


REACH_WITH_NAME = "steps:\n  - scan:\n    for: 300 ms\n    expect: {name: {equals: unit 1}}\n  - connect:\n"


@pytest.mark.timeout(30)
def test_the_unit_among_500_others() -> None:
    others = "others: [{count: 500, name: 'tag {number}', advertising: {interval: 1 s}, rssi: {mean: -80 dBm, spread: 6 dB}}]"
    steps = READ
    ran = run(plan_text(steps), thermometer(more=others))
    assert ran.ended.verdict == "pass"


def test_two_units_are_ambiguous_with_candidates() -> None:
    ran = run(plan_text(READ), thermometer(), thermometer(name="unit 2", address="C4:00:00:00:00:02"))
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "station", 7)
    assert "ambiguous: 2 devices" in ran.ended.message
    assert "C4:00:00:00:00:01" in ran.ended.message
    assert "C4:00:00:00:00:02" in ran.ended.message


def test_a_unit_that_takes_no_connections_is_said_so_at_once() -> None:
    ran = run(plan_text(READ), thermometer().replace("interval: 20 ms", "interval: 20 ms, connectable: false"))
    assert (ran.verdicts(), ran.ended.cause) == (["pass", "fail", "skip"], "device")
    assert "unit 1 does not take connections" in ran.ended.message
    assert ran.ended.at < 1.0


def test_nearest_takes_the_stronger_of_two() -> None:
    plan = plan_text(READ).replace("{name: 'unit*'}", "{name: 'unit*', nearest: 6 dB}")
    far = thermometer(name="unit 2", address="C4:00:00:00:00:02", more="rssi: {mean: -80 dBm}")
    ran = run(plan, far, thermometer(more="rssi: {mean: -50 dBm}"))
    assert ran.ended.verdict == "pass"
    assert ran.record.unit.address == "C4:00:00:00:00:01"


def test_a_missing_device_fails_with_cause_link_after_the_deadline() -> None:
    started = time.monotonic()
    ran = run(plan_text(READ).replace("for: 300 ms", "for: 300 ms\n    within: 20 s"))
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("fail", "link", 1)
    assert 19.5 < ran.step(1).ended.elapsed < 21
    assert time.monotonic() - started < 10, "waiting costs nothing on the virtual clock"


def test_a_malformed_value_names_the_fault_and_the_bytes() -> None:
    device = thermometer().replace("value: 21.5 °C", "raw: '29'")
    ran = run(plan_text(READ), device)
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "device")
    assert "29" in ran.ended.message
    assert ran.reading(3).raw == "29"


def test_no_limit_judged_is_not_a_pass_to_the_shell() -> None:
    assert run(plan_text("  - read: temperature\n"), thermometer()).ended.exit_code == 5


def test_the_plans_deadline_ends_the_run_and_finally_still_runs() -> None:
    plan = plan_text(
        "  - wait: 60 s\n" + READ + "finally:\n  - read: temperature\n    name: last look\n", head="deadline: 5 s\n"
    )
    ran = run(plan, thermometer())
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "limit")
    assert "the plan's deadline of 5 s ran out" in ran.ended.message
    assert ran.verdicts() == ["pass", "pass", "fail", "skip", "pass"]


def test_on_fail_stop_skips_what_follows() -> None:
    steps = "  - read: temperature\n    on_fail: stop\n    expect: {value: {max: 0 °C}}\n  - read: temperature\n    name: next\n"
    ran = run(plan_text(steps), thermometer())
    assert ran.verdicts() == ["pass", "pass", "fail", "skip"]
    assert ran.step("next").ended.root == Where("3")


def test_a_limit_is_never_tried_again() -> None:
    ran = run(plan_text("  - read: temperature\n    attempts: 5\n    expect: {value: {max: 0 °C}}\n"), thermometer())
    assert ran.step(3).ended.attempts == 1


def test_an_att_error_is_tried_again_when_the_step_says_so() -> None:
    steps = "  - read: temperature\n    attempts: 3\n"
    ran = run(plan_text(steps), thermometer("on_read: {att_error: unlikely error}"))
    assert ran.step(3).ended.attempts == 3
    assert [a.cause for a in ran.step(3).retries] == ["device", "device"]
