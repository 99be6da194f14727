"""By other limits: what changes, what follows from it, and what nobody can say."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.record.aggregate import build_record
from benchrig.record.rounds import chains_of, thinned
from benchrig.testing import run_plan
from tests.rejudge.kit import LEVEL, TEMPERATURE, UNIT, again, why
from tests.run.kit import device_text, plan_text, run

READ = "  - read: battery level\n    expect: {value: {min: 40 %}}\n"
STREAM = "  - notify: temperature\n    for: 1 s\n    expect: {value: {max: 25 °C}}\n"


def came(found) -> tuple[str, str | None, int] | None:
    return None if found.ended is None else (found.ended.verdict, found.ended.cause, found.ended.exit_code)


def test_a_unit_that_passed_fails_by_a_tighter_limit_and_is_named_by_the_sentence_of_a_run():
    plan = plan_text(READ)
    tight = plan.replace("40 %", "60 %")
    found = again(run(plan, UNIT).record, tight)
    assert came(found) == ("fail", "limit", 1)
    assert found.ended.message == run(tight, UNIT).ended.message == "50 % is below the minimum 60 % by 10 %"
    assert found.ended.root == run(tight, UNIT).ended.root


@pytest.mark.parametrize("air", ["kind", "rough"])
def test_a_unit_that_failed_passes_by_a_wider_limit_as_it_would_in_a_run(air):
    tight, wide = plan_text(READ.replace("40 %", "60 %")), plan_text(READ)
    ran = run(tight, UNIT, air=air)
    assert ran.ended.verdict == "fail"
    assert came(again(ran.record, wide)) == ("pass", None, 0)


def test_what_comes_after_decides_where_the_first_failure_is_gone():
    plan = plan_text(READ.replace("40 %", "60 %") + STREAM.replace("25 °C", "21.5 °C"))
    found = again(run(plan, UNIT).record, plan.replace("60 %", "40 %"))
    assert came(found) == ("fail", "limit", 1)
    assert "outside" in found.ended.message


def test_what_fails_earlier_decides_and_ends_the_run_where_its_step_says_so():
    stop = READ.replace("expect", "on_fail: stop\n    expect")
    plan = plan_text(stop + STREAM.replace("25 °C", "21.5 °C"))
    found = again(run(plan, UNIT).record, plan.replace("40 %", "60 %"))
    assert found.ended.message == "50 % is below the minimum 60 % by 10 %"
    [stream] = [done for done in found.done if done.plan.kind.verb == "notify"]
    assert (stream.event.verdict, stream.event.message) == ("skip", "step 3 ended the run")
    assert found.ended.not_judged == 1


@pytest.mark.parametrize("because", ["on_fail: stop\n    ", ""])
def test_what_was_left_out_for_a_failure_that_is_gone_was_not_taken(because):
    after = "" if because else "    only_after: read battery level\n"
    stream = STREAM.replace("    expect", f"{after}    expect")
    plan = plan_text(READ.replace("40 %", "60 %").replace("expect", f"{because}expect") + stream)
    found = again(run(plan, UNIT).record, plan.replace("60 %", "40 %"))
    assert came(found) is None
    [(step, reading, reason)] = why(found)
    assert (step, reading) == ("notify temperature", "")
    assert reason == "it was left out since step 3 failed, which passes now"


# --- streams


def test_the_extremes_of_a_stream_decide_a_range():
    plan = plan_text(STREAM)
    record = run(plan, UNIT).record
    assert came(again(record, plan.replace("max: 25", "max: 22"))) == ("pass", None, 0)
    found = again(record, plan.replace("max: 25", "max: 21.5"))
    assert came(found) == ("fail", "limit", 1)
    assert "at least one is outside: 22 °C is above the maximum 21.5 °C by 0.5 °C" in found.ended.message


@pytest.mark.parametrize("limit", ["one_of: [20 °C, 21 °C, 22 °C]", "differs: 21 °C", "rising: true"])
def test_they_do_not_decide_what_is_no_range(limit):
    plan = plan_text(STREAM)
    found = again(run(plan, UNIT).record, plan.replace("max: 25 °C", limit))
    assert came(found) is None
    assert why(found)[0][:2] == ("notify temperature", "value")


@pytest.mark.parametrize(("limit", "verdict"), [("one_of: [20 °C, 21 °C, 22 °C]", "pass"), ("differs: 21 °C", "fail")])
def test_samples_that_were_kept_decide_it(limit, verdict):
    plan = plan_text(STREAM.replace("    expect", "    keep_samples: 100\n    expect"))
    other = plan.replace("max: 25 °C", limit)
    found = again(run(plan, UNIT).record, other)
    assert found.ended.verdict == run(other, UNIT).ended.verdict == verdict
    assert found.ended.message == run(other, UNIT).ended.message


# --- limit sets and guard bands

SET = """\
limit_set: Pharma
plan: a plan
version: 1
owner: Quality
reason: A certificate asks for more.
limits: {read battery level: {value: {min: 45 %}}}
"""


def test_runs_under_a_limit_set_come_to_the_same_under_it_and_to_another_end_under_another(tmp_path):
    (tmp_path / "set.yaml").write_text(SET, encoding="utf-8")
    plan = plan_text(READ)
    ran = run_plan(plan, UNIT, limits=tmp_path / "set.yaml")
    found = again(ran.record, plan, SET)
    assert (found.as_run, found.altered, found.ended) == (True, [], ran.ended)
    tight = again(ran.record, plan, SET.replace("45 %", "60 %"))
    assert (tight.as_run, tight.ended.message) == (False, "50 % is below the minimum 60 % by 10 %")
    assert again(ran.record, plan).as_run is False


def test_a_guard_band_draws_the_limit_in():
    plan = plan_text(READ)
    guarded = plan.replace("min: 40 %", "min: 49.5 %, guard: {rule: ISO 14253-1, expanded: 1 %, k: 2}")
    found, ran = again(run(plan, UNIT).record, guarded), run(guarded, UNIT)
    assert (found.ended.verdict, found.ended.message) == (ran.ended.verdict, ran.ended.message)
    assert found.ended.verdict == "fail"
    assert again(ran.record, guarded).altered == []


# --- what the run has not taken


def test_a_step_that_is_new_and_a_reading_that_is_new():
    plan = plan_text(READ)
    found = again(
        run(plan, UNIT).record, plan_text(READ + "  - read: temperature\n    expect: {value: {max: 30 °C}}\n")
    )
    assert why(found) == [("read temperature", "", "the record has no such step")]
    assert came(found) is None
    found = again(run(plan, UNIT).record, plan.replace("{value", "{elapsed: {max: 9 s}, value"))
    assert why(found) == [("read battery level", "elapsed", "the run has not taken the reading")]


def test_a_failure_that_is_sure_decides_whatever_else_is_not_known():
    plan = plan_text(READ)
    new = plan_text(READ.replace("40 %", "60 %") + "  - read: temperature\n    expect: {value: {max: 30 °C}}\n")
    assert came(again(run(plan, UNIT).record, new)) == ("fail", "limit", 1)


def test_a_step_of_another_attribute_is_another_step():
    plan = plan_text(READ.replace("battery level\n", "battery level\n    name: the reading\n"))
    other = plan.replace("read: battery level", "read: temperature").replace("40 %", "1 °C")
    assert why(again(run(plan, UNIT).record, other)) == [("the reading", "", "the record has no such step")]


def test_another_plan_reads_the_bytes_in_its_way():
    attributes = "    supply: {uuid: 0xFF01, as: uint16}"
    plan = plan_text("  - read: supply\n    expect: {value: {min: 1}}\n", attributes=attributes)
    unit = device_text(
        "services: [{service: 0xFF00, characteristics: [{characteristic: 0xFF01, properties: [read], raw: '0500'}]}]"
    )
    record = run(plan, unit).record
    assert came(again(record, plan.replace("min: 1", "min: 6"))) == ("fail", "limit", 1)
    found = again(record, plan.replace("as: uint16", "as: uint16, scale: 0.1, unit: V").replace("min: 1", "min: 1 V"))
    assert found.ended.message == "0.5 V is below the minimum 1 V by 0.5 V"
    found = again(record, plan.replace("as: uint16", "as: uint32"))
    assert came(found) is None
    assert "do not fit the format" in why(found)[0][2]


def test_a_step_that_does_something_else_now():
    plan = plan_text(STREAM)
    record = run(plan, UNIT).record
    found = again(record, plan.replace("for: 1 s", "for: 2 s"))
    assert came(found) is None
    assert why(found) == [("notify temperature", "", "the plan lets it do something else: its 'for' is another one")]
    renamed = plan.replace("for: 1 s", "for: 1 s\n    on_fail: stop") + "# revised\n"
    assert came(again(record, renamed)) == ("pass", None, 0)


TABLE = "  - discover:\n    expect: {table: {battery: {battery level: [read]}}}\n"


@pytest.mark.parametrize("properties", ["[read]", "[read, notify]"])
def test_a_table_that_is_written_as_it_was_is_the_one_that_was_compared(properties):
    plan = plan_text(TABLE.replace("[read]", properties) + READ)
    ran = run(plan, UNIT)
    assert again(ran.record, plan).altered == []
    wider = again(ran.record, plan.replace("min: 40 %", "min: 45 %"))
    assert (wider.ended.verdict, wider.ended.message) == (ran.ended.verdict, ran.ended.message)
    other = again(ran.record, plan.replace("battery level: [read", "battery level: [write, read"))
    assert came(other) is None
    assert why(other)[0][:2] == ("discover", "table")


# --- references


def test_references_stand_for_what_the_run_saved_and_was_given():
    steps = "  - read: battery level\n    save: {value: first}\n  - read: battery level\n    name: again\n    expect: {value: {min: '${least}', max: '${first + 1 %}'}}\n"
    plan = plan_text(steps, head="given: {least: {default: 10 %}}\n")
    ran = run(plan, UNIT, given={"least": "45 %"})
    assert came(again(ran.record, plan)) == ("pass", None, 0)
    assert again(ran.record, plan).altered == []
    found = again(ran.record, plan.replace("first + 1 %", "first - 1 %"))
    assert found.ended.message == "50 % is above the maximum 49 % by 1 %"
    found = again(ran.record, plan.replace("'${least}'", "'${least + 6 %}'"))
    assert found.ended.message == "50 % is below the minimum 51 % by 1 %"


def test_a_secret_value_is_not_on_record_so_only_the_limit_of_the_run_holds():
    steps = "  - read: battery level\n    expect: {value: {min: '${least}'}}\n"
    plan = plan_text(steps, head="given: {least: {secret: true, min: 1 %}}\n")
    ran = run(plan, UNIT, given={"least": "45 %"})
    assert came(again(ran.record, plan)) == ("pass", None, 0)
    assert came(again(ran.record, plan + "# another revision\n")) is None


# --- steps with steps in them

ROUNDS = """\
  - repeat: 5
    expect: {failed: {max: 1}}
    steps:
      - read: temperature
        expect: {value: {max: 21.5 °C}}
"""


@pytest.mark.parametrize(
    ("limit", "verdict"), [("30 °C", "pass"), ("21.5 °C", "pass"), ("20.5 °C", "fail"), ("1 °C", "fail")]
)
def test_rounds_are_counted_by_the_limits_in_them(limit, verdict):
    unit = device_text(f"services: [{{service: environmental sensing, characteristics: [{TEMPERATURE}]}}]")
    plan = plan_text(ROUNDS)
    other = plan.replace("21.5 °C", limit)
    found, ran = again(run(plan, unit).record, other), run(other, unit)
    assert (found.ended.verdict, found.ended.cause, found.ended.message) == (
        ran.ended.verdict,
        ran.ended.cause,
        ran.ended.message,
    )
    assert found.ended.verdict == verdict
    assert (found.ended.planned, found.ended.judged) == (ran.ended.planned, ran.ended.judged)


def test_a_sequential_test_would_have_had_other_rounds():
    test = "sequential: {acceptable: 5 %, rejectable: 60 %, producer_risk: 10 %, consumer_risk: 10 %}"
    plan = plan_text(
        ROUNDS.replace("repeat: 5\n", f"repeat: 40\n    {test}\n").replace("    expect: {failed: {max: 1}}\n", "")
    )
    unit = device_text(f"services: [{{service: environmental sensing, characteristics: [{TEMPERATURE}]}}]")
    ran = run(plan, unit)
    assert again(ran.record, plan).altered == []
    assert came(again(ran.record, plan.replace("max: 21.5 °C", "max: 20.5 °C"))) is None


LONG = """\
  - repeat: 100
    steps:
      - read: temperature
        expect: {value: {max: 30 °C}}
"""


@pytest.mark.parametrize(("limit", "verdict"), [("26 °C", "pass"), ("22 °C", None), ("19 °C", None)])
def test_rounds_that_are_not_on_record_one_by_one_are_judged_by_their_extremes(limit, verdict):
    """One of the rounds in between is warmer than all that are on record."""
    values = ", ".join([*["20 °C"] * 60, "25 °C", *["20 °C"] * 60])
    warm = TEMPERATURE.replace("20 °C, 21 °C, 22 °C", values)
    unit = device_text(f"services: [{{service: environmental sensing, characteristics: [{warm}]}}]")
    plan = plan_text(LONG)
    record = build_record(thinned(run(plan, unit).events, chains_of(run(plan, unit).record.run.nodes)))
    assert any(each.left and each.left.rounds == 40 for each in record.executions)
    assert again(record, plan).altered == []
    found = again(record, plan.replace("30 °C", limit))
    assert (found.ended and found.ended.verdict) == verdict or (limit == "19 °C" and found.ended.verdict == "fail")


GROUP = """\
  - group: values
    first: [{read: battery level, expect: {value: {min: 40 %}}}]
    steps: [{read: temperature, expect: {value: {max: 30 °C}}}]
"""


def test_a_group_whose_first_steps_fail_leaves_out_the_others():
    plan = plan_text(GROUP)
    tight = plan.replace("40 %", "60 %")
    found, ran = again(run(plan, UNIT).record, tight), run(tight, UNIT)
    assert [(d.where, d.event.verdict, d.event.message) for d in found.done if d.where.node.startswith("3")] == [
        (e.where, e.ended.verdict, e.ended.message)
        for e in sorted(ran.record.executions, key=lambda each: (-len(each.where.node), each.where.node))
        if e.where.node.startswith("3")
    ]
    assert found.ended.message == ran.ended.message
    found = again(ran.record, plan)
    assert came(found) is None
    assert ("read temperature", "", "it was left out since step 3.1 failed, which passes now") in why(found)


def test_a_limit_that_decides_what_a_step_does_is_not_judged_by_another():
    plan = plan_text("", reach="steps:\n  - scan:\n    for: 300 ms\n    expect: {heard: {equals: true}}\n")
    found = again(run(plan, UNIT).record, plan.replace("heard: {equals: true}", "heard: {differs: false}"))
    assert why(found) == [("scan", "heard", "the limit on heard decides what the step does, and it is another one now")]


def test_an_attempt_that_a_broken_limit_kept_from_following_was_not_taken():
    unit = device_text(
        f"services: [{{service: battery, characteristics: [{LEVEL}]}}]", more="faults: {disconnect_after: 400 ms}"
    )
    plan = plan_text("  - wait: 1 s\n    attempts: 1\n")
    ran = run(plan, unit)
    assert again(ran.record, plan).ended == ran.record.ended


WRITES = """\
  - read: battery level
    on_fail: stop
    expect: {value: {min: 60 %}}
  - write: battery level
    value: 70 %
finally:
  - read: battery level
    name: level after
    expect: {value: {min: 65 %}}
"""


def test_what_fails_after_a_step_that_was_not_taken_may_not_fail_with_it():
    """The step would have put the unit into another state: a good unit must not be counted as a bad one."""
    unit = UNIT.replace("properties: [read], value: 50 %", "properties: [read, write], value: 50 %")
    plan = plan_text(WRITES)
    wide = plan.replace("60 %", "40 %")
    ran = run(plan, unit)
    assert (ran.ended.verdict, run(wide, unit).ended.verdict) == ("fail", "pass")
    assert came(again(ran.record, wide)) is None
    looks = plan.replace("  - write: battery level\n    value: 70 %\n", STREAM)
    assert came(again(run(looks, unit).record, looks.replace("60 %", "40 %"))) == ("fail", "limit", 1)


def test_a_step_that_a_new_condition_leaves_out_was_carried_out_and_left_its_traces():
    unit = UNIT.replace("properties: [read], value: 50 %", "properties: [read, write], value: 50 %")
    steps = WRITES.replace("60 %", "40 %").replace("    on_fail", "    save: {value: seen}\n    on_fail")
    plan = plan_text(steps.replace("    value: 70 %", "    only_if: {seen: {min: 45 %}}\n    value: 70 %"))
    left = plan.replace("45 %", "55 %")
    ran = run(plan, unit)
    assert (ran.ended.verdict, run(left, unit).ended.verdict) == ("pass", "fail")
    assert came(again(ran.record, left)) is None


@pytest.mark.parametrize("now", [["read", "write"], ["read"]])
def test_readings_after_other_steps_than_in_the_plan_say_nothing_of_it(now):
    """A unit that would fail must not pass since the run wrote to it first."""
    unit = UNIT.replace("properties: [read], value: 50 %", "properties: [read, write], value: 50 %")
    steps = {"read": READ.replace("40 %", "60 %"), "write": "  - write: battery level\n    value: 70 %\n"}
    ran = run(plan_text(steps["write"] + steps["read"]), unit)
    revised = plan_text("".join(steps[each] for each in now))
    assert (ran.ended.verdict, run(revised, unit).ended.verdict) == ("pass", "fail")
    found = again(ran.record, revised)
    assert came(found) is None
    assert [step for step, _, _ in why(found)] == ["read battery level"]


# --- what would have been done otherwise

SUPPLY = "[{service: 0xFF00, characteristics: [{characteristic: 0xFF01, properties: [read, write, notify], raw: '3205', notify: {period: 100 ms}}]}"
SUPPLIED = device_text(f"services: {SUPPLY}, {{service: battery, characteristics: [{LEVEL}]}}]")
SWITCH = """\
  - repeat: 2
    expect: {failed: {max: 2}}
    steps:
      - group: switch
        first: [{read: battery level, expect: {value: {min: 40 %}}}]
        steps: [{write: supply, raw: '0100'}]
  - read: supply
    expect: {value: {equals: 1330}}
"""


@pytest.mark.parametrize("expected", ["1330", "1"])
def test_what_was_done_and_is_left_out_now_for_a_failure_that_is_allowed_leaves_another_state(expected: str) -> None:
    """By 60 % nothing is written, so that the unit answers 1330 in the end; by 40 % it answers 1."""
    plan = plan_text(SWITCH.replace("1330", expected), attributes="    supply: {uuid: 0xFF01, as: uint16}")
    other = plan.replace("40 %", "60 %")
    ends = [run(each, SUPPLIED).ended.verdict for each in (plan, other)]
    assert ends == (["fail", "pass"] if expected == "1330" else ["pass", "fail"])
    found = again(run(plan, SUPPLIED).record, other)
    assert came(found) is None
    assert "another state" in why(found)[0][2]


ONE = "    supply: {uuid: 0xFF01, as: uint16}"
TENTH = ONE.replace("uint16", "uint16, scale: 0.1")
FIELDS = "    supply: {uuid: 0xFF01, fields: [{name: %s, as: uint8}, {name: %s, as: uint8}]}"


@pytest.mark.parametrize(
    ("before", "after", "steps"),
    [
        (FIELDS % ("a", "b"), FIELDS % ("b", "a"), "  - read: supply\n    expect: {value.a: {max: 10}}\n"),
        (ONE, TENTH, "  - notify: supply\n    for: 1 s\n    expect: {value: {max: 1000}}\n"),
        (ONE, TENTH, "  - read: supply\n    save: {value: first}\n  - compute: {more: '${first + 1}'}\n    expect: {more: {max: 1000}}\n"),
        (ONE, TENTH, "  - read: supply\n    until: {value: {max: 1000}}\n    within: 1 s\n    every: 100 ms\n    expect: {reached_after: {max: 1 s}}\n"),
        (ONE, TENTH, "  - repeat: 2\n    steps: [{read: supply, save: {value: level}}]\n    expect: {failed: {max: 0}}\n  - compute: {more: '${level * 1}'}\n    expect: {more: {max: 1000}}\n"),
    ],
)  # fmt: skip
def test_what_another_plan_reads_in_another_way_and_has_no_bytes_for(before: str, after: str, steps: str) -> None:
    plans = [plan_text(steps, attributes=each) for each in (before, after)]
    ends = [run(each, SUPPLIED) for each in plans]
    assert {ran.ended.verdict for ran in ends} == {"pass", "fail"}
    for ran, other in zip(ends, reversed(plans), strict=True):
        found = again(ran.record, other)
        assert came(found) is None
        assert why(found)[0][2] == "the plan lets it do something else: its way to read 'supply' is another one"


def test_a_mistake_of_the_plan_of_the_run_says_nothing_of_the_unit() -> None:
    plan = plan_text("  - read: handle 0x000B\n    expect: {raw: {equals: 0 32}}\n" + READ)
    ran = run(plan, UNIT)
    assert ran.ended.cause == "plan"
    assert again(ran.record, plan).altered == []
    found = again(ran.record, plan.replace("0 32", "32"))
    assert came(found) is None
    assert any("a mistake of the plan" in each[2] for each in why(found))


@pytest.mark.parametrize(("before", "after"), [("300 ms", "10 s"), ("10 s", "300 ms")])
def test_the_time_of_another_plan(before: str, after: str) -> None:
    plan = plan_text(STREAM, head=f"deadline: {before}\n")
    other = plan.replace(f"deadline: {before}", f"deadline: {after}")
    ran = run(plan, UNIT)
    assert ran.ended.verdict != run(other, UNIT).ended.verdict
    assert again(ran.record, plan).altered == []
    assert came(again(ran.record, other)) is None


def _with_files(folder: Path, steps: str, **files: str) -> Path:
    folder.mkdir()
    for name, text in files.items():
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    (folder / "plan.yaml").write_text(plan_text(steps).replace("'unit*'}\n", "'unit*'}\n  use: names.yaml\n"))
    return folder / "plan.yaml"


@pytest.mark.parametrize("what", ["names", "argument"])
def test_what_other_files_of_a_plan_say(tmp_path: Path, what: str) -> None:
    names = "attributes:\n  supply: {uuid: 0xFF01, as: uint16}\n"
    part = "given: {long: {}}\nsteps:\n  - notify: supply\n    for: '${long}'\n    expect: {value: {max: 1000}, count: {min: 1}}\n"
    wide = {"names": names.replace("uint16", "uint16, scale: 0.1"), "part": part}
    steps = "  - use: part.yaml\n    with: {long: 1 s}\n"
    if what == "argument":
        wide = {"names": names, "part": part.replace("max: 1000", "max: 2000")}
    before = _with_files(tmp_path / "before", steps, **wide)
    longer = steps.replace("1 s", "2 s") if what == "argument" else steps
    after = _with_files(tmp_path / "after", longer, names=names, part=wide["part"])
    ran = run(before, SUPPLIED)
    assert (ran.ended.verdict, again(ran.record, before).altered) == ("pass", [])
    found = again(ran.record, after)
    assert came(found) is None
    assert ("way to read 'supply'" if what == "names" else "argument 'long'") in why(found)[0][2]
