"""`until` of read, exchange and notify through whole runs: the sound device, and those that never get there."""

from __future__ import annotations

import pytest

from tests.plan.building import problems_of
from tests.run.kit import Ran, device_text, plan_text, run

STATE, STREAM, COMMAND = (f"7b1f000{n}-4d1e-4b6f-9a57-2f3c1de0a001" for n in (2, 3, 4))
WORDS = "words: {0: idle, 1: running, 2: done}"
NAMES = f"""
    state: {{uuid: {STATE}, as: uint8, {WORDS}}}
    stream: {{uuid: {STREAM}, as: uint8}}
    command: {{uuid: {COMMAND}, as: hex}}
"""


def device(
    state: str = "{sequence: [1, 1, 1, 2]}",
    *,
    raw: str = "",
    on_read: str = "{delay: 0 s}",
    stream: str = "{counter: {}}",
    answers: str = "{sequence: ['81 00', '81 00', '81 01']}",
    more: str = "",
) -> str:
    return device_text(
        f"""services:
  - service: 7b1f0001-4d1e-4b6f-9a57-2f3c1de0a001
    characteristics:
      - {{characteristic: {STATE}, {raw or f"as: uint8, value: {state}"}, properties: [read], on_read: {on_read}}}
      - {{characteristic: {STREAM}, as: uint8, properties: [notify], value: {stream}, notify: {{period: 100 ms}}}}
      - {{characteristic: {COMMAND}, name: command, as: hex, properties: [write, notify], value: '00',
          on_write: {{store: false, notify: {{command: {answers}}}}}}}
""",
        more=more,
    )


SOUND = device()
DONE = "read: state\n    until: {value: {equals: done}}\n    every: 200 ms\n"
FULL = "notify: stream\n    until: {value: {min: 12}}\n"
ANSWERED = "exchange: command\n    raw: '02'\n    until: {value: {equals: '81 01'}}\n    within: 3 s\n"


def waited(step: str, unit: str = SOUND, *, air: str = "kind", seed: int = 1) -> Ran:
    return run(plan_text(f"  - {step}", attributes=NAMES), unit, air=air, seed=seed)


@pytest.mark.parametrize(("air", "slack"), [("kind", 0.0), ("rough", 2.0)])
@pytest.mark.parametrize(
    ("step", "after", "tries"),
    [(DONE, 0.6, 4), (ANSWERED, 1.0, 3), (FULL, 1.2, None)],
    ids=["read", "exchange", "notify"],
)
def test_the_step_ends_as_soon_as_it_is_reached(
    step: str, after: float, tries: int | None, air: str, slack: float
) -> None:
    ran = waited(step, air=air)
    assert ran.ended.exit_code == 0
    reached = ran.reading(3, "reached_after")
    assert after <= reached.value <= after + 0.4 + slack
    assert (reached.judgement.passed, reached.judgement.limit) == (True, "is reached")
    if tries is not None:
        assert ran.reading(3, "tries").value == tries
    ended = ran.step(3).ended
    assert ended.elapsed - reached.value < 0.2 + slack, "it ends at once"
    assert ran.ended.judged == 1


def test_the_limits_are_held_against_the_last_answer_and_every_sample() -> None:
    last = "    expect: {value: {equals: done}, tries: {equals: 4}, reached_after: {min: 500 ms, max: 2 s}}\n"
    ran = waited(DONE + last)
    assert (ran.ended.exit_code, ran.ended.judged) == (0, 3)
    assert ran.reading(3, "reached_after").judgement.limit == "is reached and min 0.5 s and max 2 s"
    failed = waited(FULL + "    expect: {value: {min: 5}}\n")
    assert (failed.ended.cause, failed.reading(3).judgement.passed) == ("limit", False)
    assert failed.reading(3, "reached_after").judgement.passed
    assert waited(DONE + "    expect: {reached_after: {max: 500 ms}}\n").ended.cause == "limit"


NEVER = device("1", stream="{sequence: [1, 2]}", answers="{sequence: ['81 00', '81 02']}")


@pytest.mark.parametrize("air", ["kind", pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("step", "sentence"),
    [
        (DONE, "not reached: expected value equals 'done'; found 'running' after "),
        (ANSWERED, "not reached: expected value equals 81 01; found 81 0"),
        (FULL, "not reached: expected value min 12; found "),
        (f"{FULL}    for: 1 s\n", "not reached: expected value min 12; found "),
        (f"{FULL}    count: 5\n", "not reached: expected value min 12; found "),
    ],
)
def test_a_device_that_never_gets_there_breaks_the_limit(step: str, sentence: str, air: str) -> None:
    ran = waited(step, NEVER, air=air)
    assert (ran.ended.verdict, ran.ended.cause, ran.step(3).ended.verdict) == ("fail", "limit", "fail")
    judgement = ran.reading(3, "reached_after").judgement
    assert judgement.sentence.startswith(sentence), judgement.sentence
    assert judgement.sentence.endswith((" tries", " notifications"))
    assert ran.step(3).ended.elapsed <= 10.5


def test_a_limit_on_the_time_that_is_never_reached_says_both() -> None:
    """The place is that of the limit, or where `until` is written."""
    implied = waited(DONE, NEVER).reading(3, "reached_after").judgement
    written = waited(DONE + "    expect: {reached_after: {max: 2 s}}\n", NEVER).reading(3, "reached_after").judgement
    assert (written.limit, written.high) == ("is reached and max 2 s", 2)
    lines = [int(each.place.rpartition(":")[2]) for each in (implied, written)]
    assert lines == [15, 17]


def test_silence_reaches_nothing() -> None:
    ran = waited("notify: stream\n    until: {value: {min: 12}}\n    within: 3 s\n", device().replace("100 ms", "1 h"))
    sentence = ran.reading(3, "reached_after").judgement.sentence
    assert sentence == "not reached: expected value min 12; none arrived after 2.88 s, 0 notifications"


@pytest.mark.parametrize(
    ("step", "unit", "cause", "message"),
    [
        (DONE, device(on_read="{att_error: 0x80}"), "device", "application error 0x80"),
        (DONE, device(on_read="{silent: true}"), "device", "did not answer"),
        (DONE, device(raw="raw: '01 02'"), "device", "(bytes 01 02)"),
        (DONE, device("1", more="faults: {disconnect_after: 1 s}"), "link", "lost"),
        (FULL, device(more="faults: {disconnect_after: 500 ms}"), "link", "lost"),
        (ANSWERED, device(answers="'81 00'", more="faults: {disconnect_after: 900 ms}"), "link", "lost"),
    ],
)
def test_trouble_while_waiting_has_its_own_cause(step: str, unit: str, cause: str, message: str) -> None:
    ran = waited(step, unit)
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", cause)
    assert message in ran.step(3).ended.message
    assert [limit.name for limit in ran.step(3).not_judged] == ["reached_after"]


def test_a_refusal_can_be_waited_out() -> None:
    """The unit answers with an error while it is busy: `until` names it, so it is an answer like others."""
    refused = "read: state\n    until: {att_error: {equals: none}}\n    within: 2 s\n"
    assert waited(refused).ended.exit_code == 0
    ran = waited(refused, device(on_read="{att_error: 0x80}"))
    sentence = ran.reading(3, "reached_after").judgement.sentence
    assert sentence.startswith("not reached: expected att_error equals 'none'; found 'application error 0x80' after ")
    wanted = refused.replace("none", "application error 0x80")
    assert waited(wanted, device(on_read="{att_error: 0x80}")).ended.exit_code == 0
    assert waited(wanted).ended.cause == "limit"


def test_an_unawaited_refusal_with_a_limit_on_it_is_judged() -> None:
    ran = waited(DONE + "    expect: {att_error: {equals: none}}\n", device(on_read="{att_error: 0x80}"))
    assert (ran.ended.verdict, ran.ended.cause) == ("fail", "limit")
    assert {r.name: r.judgement.passed for r in ran.step(3).readings if r.judgement} == {
        "reached_after": False, "att_error": False,
    }  # fmt: skip


def test_a_plan_that_ends_before_the_step_blames_no_unit_for_the_limit() -> None:
    """The time of the plan is over before the time of the step is."""
    text = plan_text(f"  - {DONE}    within: 20 s\n", attributes=NAMES, head="deadline: 3 s\n")
    ran = run(text, NEVER)
    assert ran.step(3).ended.message.startswith("the plan's deadline of 3 s ran out (only ")
    assert not [r for r in ran.step(3).readings if r.judgement]


def test_the_last_answer_is_saved_and_no_try_is_cut_off() -> None:
    """A device that takes its time to answer is asked less often, and has the time for its last answer."""
    slow = device("1", on_read="{delay: 900 ms}")
    ran = waited(f"{DONE}    within: 6 s\n  - read: state\n    expect: {{value: {{equals: running}}}}\n", slow)
    assert ran.verdicts()[2:] == ["fail", "pass"], "the link is there still"
    saved = f"{DONE}    save: {{tries: often}}\n  - wait: 1 s\n    name: 'after ${{often}} tries'\n"
    assert waited(saved).record.steps[3].opened.name == "after 4 tries"


@pytest.mark.parametrize("pace", ["", "    every: 4 s\n", "    every: 6 s\n"])
def test_what_is_reached_in_time_is_seen_whatever_the_pace(pace: str) -> None:
    """The last request does not wait until its pace is over."""
    step = f"read: state\n    until: {{value: {{equals: done}}}}\n{pace}    within: 6 s\n"
    late = device("{states: [{value: 1, for: LATER}, {value: 2}]}")
    good, bad = (waited(step, late.replace("LATER", later)) for later in ("5700 ms", "7 s"))
    assert good.ended.exit_code == 0, good.ended.message
    assert (bad.ended.cause, bad.step(3).ended.verdict) == ("limit", "fail")


@pytest.mark.parametrize(("market", "code", "limit"), [("de", 1, "is reached and max 0.5 s"), ("us", 0, "is reached")])
def test_that_it_is_reached_is_judged_where_the_limit_beside_it_is_for_another_variant(
    market: str, code: int, limit: str
) -> None:
    step = f"  - {DONE}    expect: {{reached_after: {{max: 500 ms, only_if: {{market: {{equals: de}}}}}}}}\n"
    text = plan_text(step, attributes=NAMES, head="given: {market: {one_of: [de, us]}}\n")
    ran = run(text, SOUND, given={"market": market})
    assert (ran.ended.exit_code, ran.reading(3, "reached_after").judgement.limit) == (code, limit)


def test_a_limit_that_waits_for_a_value_is_no_mistake_before_it() -> None:
    step = f"  - {DONE}    expect: {{reached_after: '${{time}}'}}\n"
    text = plan_text(
        step, attributes=NAMES, head="given: {market: {default: de}}\nvariants: {market: {de: {time: {max: 2 s}}}}\n"
    )
    ran = run(text, SOUND)
    assert ran.reading(3, "reached_after").judgement.limit == "is reached and max 2 s"
    said = [problem.message for problem in problems_of(text.replace("time}", "tim}"))]
    assert any("'tim'" in message for message in said), "told, and not taken for a bug"


def test_a_value_that_is_no_limit_in_the_place_of_one() -> None:
    """Only the run knows what stands there."""
    steps = "  - read: battery level\n    save: {value: before}\n  - read: battery level\n    name: again\n    until: {value: {min: 1 %}}\n    expect: {reached_after: '${before}'}\n"
    battery = "services: [{service: battery, characteristics: [{characteristic: battery level, properties: [read], value: 80 %}]}]"
    ran = run(plan_text(steps), device_text(battery))
    assert (ran.ended.verdict, ran.ended.cause) == ("error", "plan")
