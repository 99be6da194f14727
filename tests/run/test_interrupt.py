"""The operator stops the run: at every event in turn it ends by itself, cleaned up and with the operator as cause."""

from __future__ import annotations

import asyncio

import pytest

from benchrig.record.events import AnyEvent, AttemptFailed, Opened, RunEnded, RunStarted, Where
from benchrig.run.runner import Runner
from tests.run.kit import DEVICES, LINE, Ran, device_text, pieces, plan_text, run
from tests.run.test_trouble import READ, thermometer

PLAN, DEVICE = LINE, DEVICES / "logger.yaml"
EVENTS = len(run(PLAN, DEVICE).events)
PIECES = 12


def interrupted(at: int, times: int = 1) -> Ran:
    """The end-of-line run, interrupted when its event number `at` comes (from 0)."""
    seen: list[AnyEvent] = []

    def during(runner: Runner, event: AnyEvent) -> None:
        seen.append(event)
        if len(seen) == at + 1:
            # as a signal does: in the loop's next round
            for _ in range(times):
                asyncio.get_running_loop().call_soon(runner.interrupt)

    return run(PLAN, DEVICE, during=during)


def check(ran: Ran, position: int) -> None:
    assert (ran.tasks_left, ran.stray) == (0, []), position
    assert isinstance(ran.events[-1], RunEnded), position
    assert all(step.ended is not None for step in ran.record.steps), position
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "operator", 2), position


def finally_verdicts(ran: Ran) -> list[str]:
    return [s.ended.verdict for s in ran.record.steps if s.planned.section == "finally"]


def cleaned_up(ran: Ran) -> list[str]:
    """What the finally steps are to come to: the connection and the write that restores the alarm limit."""
    if ran.record.unit is None:  # nothing was touched yet
        return ["skip", "skip"]
    if ran.step(16).ended.cause == "operator":
        return ["error", "skip"]
    return ["pass", "error" if ran.step(17).ended.cause == "operator" else "pass"]


@pytest.mark.parametrize("piece", pieces(PIECES, 1))
def test_interrupted_at_every_event(piece: int) -> None:
    for position in range(piece, EVENTS - 2, PIECES):
        ran = interrupted(position)
        check(ran, position)
        assert finally_verdicts(ran) == cleaned_up(ran), position


@pytest.mark.parametrize("piece", pieces(PIECES, 6))
def test_interrupted_twice_at_every_event(piece: int) -> None:
    for position in range(piece, EVENTS - 2, PIECES):
        ran = interrupted(position, times=2)
        check(ran, position)
        started = [e.where.node for e in ran.events[position + 1 :] if isinstance(e, Opened)]
        assert len(started) <= 2, "only what began before the loop came round, discover among it"


def test_interrupted_after_the_verdict_changes_nothing() -> None:
    assert interrupted(EVENTS - 1).ended.verdict == "pass"


def test_the_steps_left_out_say_why() -> None:
    ran = run(plan_text("  - wait: 60 s\n  - wait: 30 s\n"), thermometer(), during=at_step(3))
    assert ran.step(3).ended.message == "interrupted"
    assert ran.step(4).ended.message == "the run was interrupted"
    assert ran.ended.root == Where("3")


@pytest.mark.parametrize("kind", ["wait: 60 s", "notify: temperature\n    for: 60 s", "scan:\n    for: 60 s"])
def test_a_long_step_ends_at_once(kind: str) -> None:
    ran = run(plan_text(f"  - {kind}\n"), thermometer(), during=at_step(3, later=True))
    assert (ran.ended.cause, ran.tasks_left) == ("operator", 0)
    assert ran.ended.at < 15


def test_interrupted_between_two_attempts() -> None:
    steps = "  - read: temperature\n    attempts: 3\n    within: 60 s\n"

    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, AttemptFailed):
            runner.interrupt()

    ran = run(plan_text(steps), thermometer("on_read: {att_error: unlikely error}"), during=during)
    assert (ran.ended.cause, ran.ended.exit_code) == ("operator", 2)
    assert ran.step(3).ended.attempts == 2


def test_an_interrupted_second_scan_leaves_finally_its_link() -> None:
    steps = "  - disconnect:\n  - scan:\n    name: look again\n    for: 60 s\n"
    cleanup = "finally:\n  - connect:\n    name: once more\n  - read: temperature\n"
    ran = run(plan_text(steps) + cleanup, thermometer(), during=at_step(4, later=True))
    assert ran.verdicts() == ["pass", "pass", "pass", "error", "pass", "pass"]


def test_what_finally_steps_may_take_is_bounded() -> None:
    plan = plan_text("  - wait: 60 s\n") + "finally:\n  - wait: 300 s\n    name: for ever\n"
    ran = run(plan, thermometer(), during=at_step(3))
    assert (ran.ended.cause, ran.tasks_left) == ("operator", 0)
    assert ran.ended.at < 15


def test_what_failed_before_the_interruption_decides() -> None:
    steps = "  - read: temperature\n    expect: {value: {max: 0 °C}}\n  - wait: 60 s\n"
    ran = run(plan_text(steps), thermometer(), during=at_step(4))
    assert ran.verdicts() == ["pass", "pass", "fail", "error"]
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("fail", "limit", 1)


def test_interrupted_while_nobody_is_there() -> None:
    ran = run(
        plan_text("  - wait: 1 s\n", reach="steps:\n  - scan:\n    for: 60 s\n"), device_text(), during=at_step(1)
    )
    assert ran.ended.cause == "operator"


def at_step(number: int, *, later: bool = False) -> object:
    """Interrupt when the step begins, or (later) when it has been going for a second."""

    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, Opened) and event.where.node == str(number):
            asyncio.get_running_loop().call_later(1.0 if later else 0.0, runner.interrupt)

    return during


def test_the_finally_steps_have_their_time_together() -> None:
    plan = plan_text("  - wait: 60 s\n") + "".join(
        ["finally:\n", *(f"  - wait: 9 s\n    name: rest {n}\n" for n in "1234")]
    )
    ran = run(plan, thermometer(), during=at_step(3))
    assert ran.verdicts()[-4:] == ["pass", "error", "error", "error"]
    assert ran.step("rest 2").ended.message == "the 10 s that the clean-up has after an interruption ran out"
    assert ran.ended.at < 15


@pytest.mark.parametrize("step", ["wait: 3 s", "notify: temperature\n    for: 3 s"])
def test_the_first_interruption_leaves_a_clean_up_alone_that_is_at_work(step: str) -> None:
    plan = plan_text(READ + f"finally:\n  - {step}\n    name: at work\n  - wait: 9 s\n    name: the next\n")
    ran = run(plan, thermometer("notify: {period: 100 ms}"), during=at_step(4, later=True))
    assert (ran.verdicts(), ran.ended.exit_code) == (["pass", "pass", "pass", "pass", "error"], 2)
    assert ran.ended.at < 14, "10 s from the interruption on"


def test_a_clean_up_that_is_at_work_for_too_long_is_the_operators() -> None:
    plan = plan_text(READ + "finally:\n  - wait: 60 s\n")
    ran = run(plan, thermometer(), during=at_step(4, later=True))
    assert (ran.ended.cause, ran.ended.exit_code, ran.step(4).ended.elapsed < 12) == ("operator", 2, True)


def test_interrupted_while_the_radio_is_opened() -> None:
    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, RunStarted):
            asyncio.get_running_loop().call_soon(runner.interrupt)

    ran = run(plan_text(READ), thermometer(), during=during)
    assert (ran.ended.exit_code, ran.stray) == (2, [])
