"""What depends on what: saved values, chosen steps, the caution before the first write."""

from __future__ import annotations

import pytest

from benchrig.errors import UsageError
from benchrig.record.events import Where
from tests.run.kit import HEAD, Ran, plan_text, run
from tests.run.test_bench_steps import Answers
from tests.run.test_trouble import thermometer

SAVED = """  - read: temperature
    save: {value: ambient}
  - read: temperature
    name: again
    expect: {value: {nominal: '${ambient}', tolerance: 0.5 °C}}
"""


def test_a_saved_value_keeps_its_unit() -> None:
    ran = run(plan_text(SAVED), thermometer())
    assert ran.ended.exit_code == 0
    judgement = ran.reading("again").judgement
    assert (judgement.low, judgement.high) == (21.0, 22.0)


def test_a_saved_value_that_never_came_skips_what_needs_it() -> None:
    ran = run(plan_text(SAVED), thermometer("on_read: {att_error: unlikely error}"))
    assert ran.verdicts() == ["pass", "pass", "fail", "skip"]
    again = ran.step("again").ended
    assert (again.root, again.message) == (Where("3"), "step 3 gave no 'ambient'")
    assert ran.ended.root == Where("3")


def test_what_an_earlier_step_saved_does_not_stand_for_what_a_later_one_could_not() -> None:
    """The second temperature never comes: nothing is held against the first one."""
    first = "  - wait: 1 s\n    save: {elapsed: ambient}\n  - wait: 1 s\n    expect: {elapsed: {min: '${ambient}'}}\n"
    ran = run(plan_text(first + SAVED), thermometer("on_read: {att_error: unlikely error}"))
    assert ran.verdicts() == ["pass", "pass", "pass", "pass", "fail", "skip"]
    assert (ran.step("again").ended.root, ran.step("again").ended.message) == (Where("5"), "step 5 gave no 'ambient'")


CHAIN = """  - group: of two
    steps:
      - read: temperature
  - wait: 1 s
    name: after both
    only_after: of two
    save: {elapsed: first}
  - group: around it
    steps:
      - wait: 1 s
        only_after: after both
    save: {elapsed: second}
  - wait: 1 s
    name: needs the first
    expect: {elapsed: {max: '${first}'}}
  - wait: 1 s
    name: needs the second
    expect: {elapsed: {max: '${second}'}}
"""


def test_a_chain_of_steps_that_are_left_out_leads_to_the_one_that_failed() -> None:
    ran = run(plan_text(CHAIN), thermometer("on_read: {att_error: unlikely error}"))
    ends = {each.planned.name: each.ended for each in ran.record.executions}
    names = ["after both", "around it", "needs the first", "needs the second"]
    assert {(ends[name].verdict, ends[name].root) for name in names} == {("skip", Where("3.1"))}
    assert [ends[name].message for name in names[2:]] == ["step 4 gave no 'first'", "step 5 gave no 'second'"]


# of a name that two steps save nobody knows before the run what it stands for
TWICE = SAVED.partition("ambient}\n")[0] + "ambient}\n  - wait: 1 s\n    save: {elapsed: ambient}\n"


def test_a_saved_value_in_another_dimension_is_found_in_the_run() -> None:
    steps = TWICE + SAVED.partition("ambient}\n")[2]
    ran = run(plan_text(steps), thermometer())
    again = ran.step("again").ended
    assert (again.verdict, again.cause, ran.ended.exit_code) == ("error", "plan", 4)
    assert again.message.startswith("1 s is a time, not a temperature (")
    assert "°C" in again.advice


def test_a_saved_value_that_cannot_be_written() -> None:
    write = "  - write: temperature\n    value: '${ambient}'\n    expect: {elapsed: {max: 1 s}}\n"
    steps = TWICE + write
    ran = run(plan_text(steps), thermometer())
    assert (ran.ended.verdict, ran.ended.cause, ran.tasks_left) == ("error", "plan", 0)


def test_what_follows_a_scan_without_a_unit_blames_the_scan() -> None:
    ran = run(plan_text("  - read: temperature\n  - disconnect:\n"))
    assert ran.verdicts() == ["fail", "skip", "skip", "skip"]
    assert [step.ended.root for step in ran.record.steps] == [None, *[Where("1")] * 3]
    assert ran.ended.root == Where("1")


def test_steps_that_need_no_link_go_on_without_one() -> None:
    ran = run(plan_text("  - read: temperature\n  - wait: 1 s\n    expect: {elapsed: {max: 2 s}}\n"))
    assert ran.verdicts() == ["fail", "skip", "skip", "pass"]


def test_on_fail_stop_leaves_finally() -> None:
    steps = "  - read: temperature\n    on_fail: stop\n    expect: {value: {max: 0 °C}}\n  - wait: 1 s\n"
    ran = run(plan_text(steps) + "finally:\n  - read: temperature\n    name: last\n", thermometer())
    assert ran.verdicts() == ["pass", "pass", "fail", "skip", "pass"]


def test_a_failure_in_finally_counts() -> None:
    plan = plan_text("  - wait: 1 s\n") + "finally:\n  - read: temperature\n    expect: {value: {max: 0 °C}}\n"
    ran = run(plan, thermometer())
    assert (ran.ended.exit_code, ran.ended.root) == (1, Where("4"))


def test_a_connection_on_the_second_attempt_says_so() -> None:
    reach = "steps:\n  - scan:\n    for: 300 ms\n  - connect:\n    attempts: 2\n    expect: {attempts: {equals: 2}}\n"
    ran = run(plan_text("", reach=reach), thermometer(more="faults: {refuse_connections: 1}"))
    assert (ran.ended.exit_code, ran.step(2).ended.attempts) == (0, 2)


def test_attempts_that_are_used_up_blame_the_link() -> None:
    reach = "steps:\n  - scan:\n    for: 300 ms\n  - connect:\n    attempts: 2\n    within: 4 s\n"
    ran = run(plan_text("", reach=reach), thermometer(more="faults: {refuse_connections: 9}"))
    assert (ran.ended.cause, ran.ended.exit_code, ran.step(2).ended.attempts) == ("link", 1, 2)
    assert ran.ended.at < 6


# --- chosen steps

MANY = """  - read: temperature
    save: {value: ambient}
  - wait: 1 s
  - read: temperature
    name: again
    expect: {value: {nominal: '${ambient}', tolerance: 0.5 °C}}
  - disconnect:
finally:
  - wait: 2 s
"""


def names(ran: Ran) -> list[str]:
    return [step.planned.name for step in ran.record.steps]


@pytest.mark.parametrize(
    ("only", "expected"),
    [
        (["wait 1 s"], ["wait 1 s", "wait 2 s"]),
        (["again"], ["scan", "connect", "read temperature", "again", "wait 2 s"]),
        (["5"], ["scan", "connect", "read temperature", "again", "wait 2 s"]),
        (["connect", "wait 1 s"], ["scan", "connect", "wait 1 s", "wait 2 s"]),
    ],
)
def test_only_takes_a_step_with_what_it_needs(only: list[str], expected: list[str]) -> None:
    ran = run(plan_text(MANY), thermometer(), only=only)
    assert names(ran) == expected
    assert set(ran.verdicts()) == {"pass"}


@pytest.mark.parametrize(
    ("from_", "expected"),
    [
        ("disconnect", ["scan", "connect", "disconnect", "wait 2 s"]),
        ("again", ["scan", "connect", "read temperature", "again", "disconnect", "wait 2 s"]),
        ("1", ["scan", "connect", "read temperature", "wait 1 s", "again", "disconnect", "wait 2 s"]),
    ],
)
def test_from_runs_on_from_a_step(from_: str, expected: list[str]) -> None:
    ran = run(plan_text(MANY), thermometer(), from_=from_)
    assert names(ran) == expected
    assert set(ran.verdicts()) == {"pass"}


def test_a_step_that_the_plan_does_not_have() -> None:
    with pytest.raises(UsageError, match="the plan has no step 'agian'") as refused:
        run(plan_text(MANY), thermometer(), only=["agian"])
    assert "again" in refused.value.advice


# --- the caution

CAUTION = "caution: The relay switches mains.\n"
WRITE = "  - write: temperature\n    raw: '0000'\n    expect: {att_error: {equals: none}}\n"


def cautious(steps: str = WRITE, **more: object) -> Ran:
    device = thermometer().replace("[read, notify]", "[read, notify, write]")
    return run(plan_text(steps, head=CAUTION), device, **more)  # type: ignore[arg-type]


def test_without_acknowledgement_nothing_is_opened() -> None:
    ran = cautious(acknowledged=False)
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "operator", 2)
    assert ran.verdicts() == ["skip", "skip", "skip"]
    assert ran.record.unit is None
    assert ran.ended.message == "nobody acknowledged the caution (no terminal): The relay switches mains."


def test_an_acknowledged_caution_is_on_record() -> None:
    operator = Answers(None)
    ran = cautious(acknowledged=False, operator=operator)
    assert (ran.ended.exit_code, operator.asked) == (0, ["The relay switches mains."])
    assert ran.record.notes[0].text == "caution acknowledged by a test: The relay switches mains."
    assert cautious().record.notes[0].text == "caution acknowledged on the command line: The relay switches mains."


def test_a_run_that_writes_nothing_needs_no_acknowledgement() -> None:
    assert (
        cautious("  - read: temperature\n    expect: {value: {max: 30 °C}}\n", acknowledged=False).ended.exit_code == 0
    )
    assert cautious("  - wait: 1 s\n" + WRITE, acknowledged=False, only=["wait 1 s"]).ended.exit_code == 5


def test_a_plan_head_without_steps_is_refused() -> None:
    from benchrig.errors import PlanError

    with pytest.raises(PlanError, match="the plan has no steps"):
        run(HEAD + "steps: []\n")


def test_a_part_of_a_plan_disconnects_between_two_connections() -> None:
    steps = (
        "  - read: temperature\n    name: first\n  - disconnect:\n  - connect:\n    name: anew\n"
        "  - read: temperature\n    name: second\n    expect: {value: {min: 0 °C}}\n  - disconnect:\n    name: end\n"
    )
    ran = run(plan_text(steps), thermometer(), only=["first", "second"])
    assert [step.planned.name for step in ran.record.steps] == [
        "scan",
        "connect",
        "first",
        "disconnect",
        "anew",
        "second",
    ]
    assert ran.ended.exit_code == 0


def test_a_connection_follows_a_group_that_was_left_out_with_its_disconnection() -> None:
    steps = (
        "  - group: settings\n    first:\n      - read: temperature\n        expect: {value: {max: 0 °C}}\n"
        "    steps:\n      - disconnect:\n  - connect:\n    name: again\n    expect: {elapsed: {max: 5 s}}\n"
    )
    ran = run(plan_text(steps), thermometer())
    assert ran.verdicts() == ["pass", "pass", "fail", "skip", "pass"]
    assert "ended the link, since step 3.2 was left out" in [note.text for note in ran.record.notes]
