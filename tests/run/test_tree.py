"""Steps within steps: rounds are told apart, what is in a step decides about it unless a limit does, and every step ends once."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from benchrig.plan.loader import load_plan
from benchrig.record.events import AnyEvent, Opened, Where
from benchrig.record.model import Execution
from benchrig.run.choose import choose_steps
from benchrig.run.runner import Runner
from benchrig.station.station import Station
from tests.run.kit import Ran, device_text, plan_text, run

LEVELS = "services:\n  - service: battery service\n    characteristics:\n"
LEVELS += "      - {characteristic: battery level, properties: [read], value: {sequence: [LIST]}}"
READ = "{read: battery level, expect: {value: {min: 50 %}}}"


def levels(*percent: int) -> str:
    """A device whose battery level is this, one read after the other."""
    return device_text(LEVELS.replace("LIST", ", ".join(f"{each} %" for each in percent)))


def repeat(times: object, *steps: str, more: str = "") -> str:
    return f"  - repeat: {times}\n    name: again\n    steps: [{', '.join(steps or [READ])}]\n{more}"


def expect(limits: str) -> str:
    return f"    expect: {{{limits}}}\n"


def ends(ran: Ran) -> list[tuple[str, str]]:
    return [(step.where.label, step.ended.verdict if step.ended else "none") for step in ran.record.steps[2:]]


def node(ran: Ran, number: str = "3") -> Execution:
    return next(each for each in ran.record.executions if each.planned.id == number)


def said(ran: Ran, name: str, number: str = "3") -> object:
    return next(reading.value for reading in node(ran, number).readings if reading.name == name)


# --- rounds


def test_a_failure_in_the_first_round_is_not_undone_by_the_second() -> None:
    ran = run(plan_text(repeat(2)), levels(20, 90))
    assert (ran.ended.verdict, ran.ended.exit_code, ran.ended.root) == ("fail", 1, Where("3.1", (1,)))
    assert ends(ran) == [("3.1 (round 1)", "fail"), ("3.1 (round 2)", "pass")]
    assert [step.readings[0].value for step in ran.record.steps[2:]] == [20, 90]
    again = node(ran).ended
    assert again is not None
    assert (again.verdict, again.cause, again.root) == ("fail", "limit", Where("3.1", (1,)))
    assert again.message.startswith("1 of 2 rounds did not pass: step 3.1 (round 1) failed: 20 % is below")
    assert (ran.ended.planned, ran.ended.judged) == (2, 2)


def test_rounds_that_pass_pass() -> None:
    ran = run(
        plan_text(repeat(3, more=expect("rounds: {equals: 3}, passed: {equals: 3}, failed: {equals: 0}"))), levels(90)
    )
    assert (ran.ended.verdict, ran.ended.judged) == ("pass", 6)
    assert ends(ran) == [(f"3.1 (round {number})", "pass") for number in (1, 2, 3)]


def test_a_limit_decides_how_many_rounds_may_fail() -> None:
    plan = plan_text(repeat(4, more=expect("failed: {max: 1}")))
    one, two = run(plan, levels(90, 20, 90, 90)), run(plan, levels(90, 20, 20, 90))
    assert (one.ended.verdict, said(one, "failed"), said(one, "passed")) == ("pass", 1, 3)
    assert (two.ended.verdict, two.ended.cause, two.ended.root) == ("fail", "limit", Where("3"))
    assert two.ended.message == (
        "2 is above the maximum 1 by 1: step 3.1 (round 2) failed: 20 % is below the minimum 50 % by 30 %"
    )


def test_a_round_that_was_left_out_has_failed_too() -> None:
    """The link is lost in the second round, and no step makes a new one: one failure, and two rounds without anything."""
    drop = device_text(LEVELS.replace("LIST", "90 %, 20 %"), more="faults: {disconnect_after: 2 s}")
    steps = repeat(4, "{wait: 1 s}", READ, more=expect("failed: {max: 1}"))
    ran = run(plan_text(steps), drop)
    assert ran.ended.exit_code == 1
    assert int(str(said(ran, "failed"))) > 1


def test_an_error_ends_a_repetition_that_may_fail() -> None:
    steps = repeat(4, "{call: 'nothing:at_all'}", more=expect("failed: {max: 4}"))
    ran = run(plan_text(steps), levels(90))
    assert (ran.ended.exit_code, ran.ended.root, len(ends(ran))) == (7, Where("3.1", (1,)), 1)
    assert [limit.name for limit in node(ran).not_judged] == ["failed"]


def test_a_step_that_stops_the_run_ends_the_repetition_whatever_may_fail() -> None:
    for more in ("", expect("failed: {max: 3}")):
        ran = run(
            plan_text(repeat(4, READ[:-1] + ", on_fail: stop}", "{wait: 1 ms}", more=more) + "  - wait: 1 s\n"),
            levels(90, 20),
        )
        assert [verdict for _, verdict in ends(ran)] == ["pass", "pass", "fail", "skip", "skip"]
        assert (ran.ended.verdict, ran.ended.root) == ("fail", Where("3.1", (2,)))
        left_out = ran.record.steps[-1].ended
        assert left_out is not None
        assert (left_out.root, left_out.message) == (Where("3.1", (2,)), "step 3.1 (round 2) ended the run")


def test_the_same_name_in_each_round_saves_a_value_of_its_own() -> None:
    steps = repeat(3, "{read: battery level, name: first, save: {value: before}}",
                   "{read: battery level, name: second, expect: {value: {equals: '${before}'}}}")  # fmt: skip
    ran = run(plan_text(steps), levels(10, 10, 20, 20, 30, 31))
    assert [verdict for _, verdict in ends(ran)] == ["pass", "pass", "pass", "pass", "pass", "fail"]


def test_repetitions_within_each_other_count_their_rounds_apart() -> None:
    inner = f"{{repeat: 2, name: inner, steps: [{READ}]}}"
    ran = run(plan_text(repeat(2, inner)), levels(90, 90, 90, 20))
    assert ends(ran) == [(f"3.1.1 (round {rounds})", verdict) for rounds, verdict in
                         (("1.1", "pass"), ("1.2", "pass"), ("2.1", "pass"), ("2.2", "fail"))]  # fmt: skip
    assert ran.ended.root == Where("3.1.1", (2, 2))


def test_a_run_that_ends_before_its_first_step_accounts_for_every_step_once() -> None:
    steps = repeat(3, "{command: ['true'], expect: {exit_code: {equals: 0}}}", more=expect("failed: {max: 1}"))
    ran = run(plan_text(steps), levels(90), station=Station("bench 1", forbid=["command"]))
    assert (ran.ended.exit_code, ran.ended.planned, ran.ended.not_judged) == (7, 2, 2)
    assert [verdict for _, verdict in ends(ran)] == ["skip"]


def test_a_round_for_each_value() -> None:
    steps = repeat("{least: [50 %, 60 %, 70 %]}", "{read: battery level, expect: {value: {min: '${least}'}}}")
    ran = run(plan_text(steps), levels(65))
    assert [verdict for _, verdict in ends(ran)] == ["pass", "pass", "fail"]
    assert ran.ended.message == "65 % is below the minimum 70 % by 5 %"


def test_rounds_for_a_time_at_a_pace() -> None:
    ran = run(
        plan_text(repeat("1 min", more="    every: 10 s\n" + expect("rounds: {equals: 6}, elapsed: {max: 51 s}"))),
        levels(90),
    )
    assert ran.ended.exit_code == 0
    begun = [step.opened.at for step in ran.record.steps[2:] if step.opened]
    assert [round(later - begun[0]) for later in begun] == [0, 10, 20, 30, 40, 50]


def test_what_ends_it_early() -> None:
    plan = plan_text(
        repeat(9, more="    stop_when: {again read.value: {max: 70 %}}\n").replace("level,", "level, name: again read,")
    )
    ran = run(plan, levels(90, 80, 70, 60))
    assert (ran.ended.verdict, said(ran, "rounds")) == ("pass", 3)


# --- readings over rounds


def test_a_reading_is_a_stream_over_the_rounds() -> None:
    limits = "read battery level.value: {min: 60 %}, read battery level.value.p50: {equals: 80 %}"
    limits += ", read battery level.value.mean: {equals: 75 %}, read battery level.value.spread: {max: 39 %}, failed: {max: 0}"
    ran = run(plan_text(repeat(4, "{read: battery level}", more=expect(limits))), levels(90, 80, 80, 50))
    judged = {
        reading.name.removeprefix("read battery level."): reading.judgement
        for reading in node(ran).readings
        if reading.judgement
    }
    assert {name: judgement.passed for name, judgement in judged.items()} == {
        "failed": True, "value": False, "value.p50": True, "value.mean": True, "value.spread": False,
    }  # fmt: skip
    assert "1 of 4 samples outside; the first, number 4" in judged["value"].sentence


def test_a_reading_that_never_came_fails_its_limit() -> None:
    steps = repeat(
        2,
        more=expect("read battery level.value: {min: 0 %}, read battery level.value.p95: {min: 0 %}, failed: {max: 2}"),
    )
    ran = run(
        plan_text(steps),
        device_text(LEVELS.replace("value: {sequence: [LIST]}", "value: 5 %, on_read: {att_error: 0x80}")),
    )
    assert ran.ended.exit_code == 1
    assert "no sample arrived" in ran.ended.message
    assert "no round gave one" in ran.ended.message


def test_a_reading_that_the_radio_does_not_tell_is_not_judged_over_rounds_either() -> None:
    limits = (
        "scan.rssi: {min: -90 dBm}, scan.rssi.p95: {min: -90 dBm}, scan.rssi.mean: {min: -90 dBm}, failed: {max: 0}"
    )
    plan = plan_text(repeat(2, "{scan: }", more=expect(limits)), reach="steps:\n  - wait: 1 s\n  - wait: 2 s\n")
    lacks = {"scan.rssi": "no levels here"}
    may = [f"repeat.scan.rssi{more}" for more in ("", ".p95", ".mean")]
    assert run(plan, levels(90)).ended.judged == 4
    bad, allowed = run(plan, levels(90), lacks=lacks), run(plan, levels(90), lacks=lacks, may_lack=may)
    assert (bad.ended.exit_code, bad.ended.cause, bad.ended.not_judged) == (5, "station", 3)
    assert (allowed.ended.exit_code, allowed.ended.judged, allowed.ended.allowed) == (0, 1, 3)


def test_a_reading_that_is_not_known_in_one_of_the_rounds_is_not_judged_by_the_others() -> None:
    """Nobody listens for 2 s in the second round: when the unit was back in it is not known."""
    steps = (
        "{disconnect: }",
        "{wait: '${pause}', name: pause}",
        "{scan: , for: 300 ms, name: seen}",
        "{connect: , name: back}",
    )
    limit = "seen.advertises_after: {max: LIMIT}, failed: {max: 0}"
    plan = plan_text(repeat("{pause: [100 ms, 2 s, 100 ms]}", *steps, more=expect(limit)))
    ended = run(plan.replace("LIMIT", "1 s"), levels(90)).ended
    assert (ended.exit_code, ended.cause, ended.not_judged) == (5, "station", 1)
    assert "seen.advertises_after is not judged: nobody listened for 2 s" in ended.message
    broken = run(plan.replace("LIMIT", "1 ms"), levels(90)).ended
    assert (broken.exit_code, broken.cause) == (1, "limit")
    assert "2 of 2 samples outside" in broken.message


def test_a_statistic_of_a_step_that_is_known_in_the_run_alone_has_a_unit() -> None:
    steps = "  - repeat: {pause: [100 ms, 300 ms]}\n    name: again\n    steps: [{wait: '${pause}', name: pause}]\n"
    limits = "pause.elapsed.p95: {max: LIMIT}, pause.elapsed.mean: {equals: 0.2 s}, pause.elapsed.spread: {max: 0.25 s}"
    good = run(plan_text(steps + expect(limits.replace("LIMIT", "300 ms"))), levels(90)).ended
    assert good.exit_code == 0, good.message
    bad = run(plan_text(steps + expect(limits.replace("LIMIT", "299 ms"))), levels(90)).ended
    assert (bad.exit_code, bad.cause) == (1, "limit")


# --- groups


def test_a_group_comes_to_the_worst_of_it() -> None:
    ran = run(plan_text(f"  - group: battery\n    steps: [{READ}]\n"), levels(20))
    assert ends(ran) == [("3.1", "fail")]
    group = node(ran).ended
    assert group is not None
    assert (group.verdict, group.root, ran.ended.root) == ("fail", Where("3.1"), Where("3.1"))


def test_a_set_up_that_does_not_pass_leaves_out_the_rest_of_the_group_alone() -> None:
    steps = f"  - group: battery\n    first: [{READ}]\n    steps: [{{wait: 1 s}}]\n    finally: [{{wait: 2 s}}]\n  - wait: 3 s\n"
    bad, good = run(plan_text(steps), levels(20)), run(plan_text(steps), levels(90))
    assert [verdict for _, verdict in ends(bad)] == ["fail", "skip", "skip", "pass"]
    assert [step.ended.root for step in bad.record.steps[3:5] if step.ended] == [Where("3.1")] * 2
    assert [verdict for _, verdict in ends(good)] == ["pass"] * 4
    assert bad.ended.root == Where("3.1")


def test_what_the_set_up_leaves_out_has_not_passed() -> None:
    """Else a limit that lets one step fail lets all be left out."""
    steps = f"  - group: battery\n    first: [{READ}]\n    steps: [{{wait: 1 s}}]\n    finally: [{{wait: 2 s}}]\n"
    bad = run(plan_text(steps + expect("failed: {max: 1}")), levels(20))
    assert (bad.ended.verdict, bad.ended.cause, said(bad, "failed")) == ("fail", "limit", 3)
    assert bad.ended.message == "3 is above the maximum 1 by 2: step 3.1 failed: 20 % is below the minimum 50 % by 30 %"


@pytest.mark.parametrize(
    "around",
    [
        "repeat: 1\n    name: battery",
        "group: battery\n    finally: [{wait: 20 ms}]",
        "listen: {console: }\n    name: battery",
    ],
)
def test_what_a_step_in_it_measures_is_judged_there(around: str) -> None:
    step = f"  - {around}\n    steps: [{{read: battery level, name: look, only_if: {{market: {{equals: de}}}}}}, {{wait: 10 ms}}]\n"
    steps = step + expect("look.value: {min: 50 %}, look.value.p95: {min: 50 %}, wait 10 ms.elapsed: {max: 1 s}")
    head = "given: {market: {default: de, one_of: [de, us], record: true}}\n"
    ended = [run(plan_text(steps, head=head), levels(level)).ended for level in (90, 20)]
    assert [(each.exit_code, each.cause, each.judged) for each in ended] == [(0, None, 3), (1, "limit", 3)]
    assert "1 of 1 samples outside" in ended[1].message
    other = run(plan_text(steps, head=head), levels(20), given={"market": "us"}).ended
    assert (other.exit_code, other.judged, other.allowed) == (0, 1, 2)


def test_a_step_that_is_left_out_of_one_round_in_a_listen_is_judged_by_the_others() -> None:
    inner = "{repeat: 3, name: rounds, steps: [{wait: 10 ms}, {read: battery level, name: look, only_if: {round: {min: 2}}}]}"
    limits = "look.value: {min: 50 %}, look.value.mean: {min: 50 %}"
    for around in ("listen: {console: }\n    name: all", "group: all"):
        steps = f"  - {around}\n    steps: [{inner}]\n{expect(limits)}"
        ended = [run(plan_text(steps), levels(level, level)).ended for level in (90, 20)]
        assert [(each.exit_code, each.judged) for each in ended] == [(0, 2), (1, 2)]


def test_the_clean_up_of_a_group_runs_whatever_becomes_of_its_steps() -> None:
    stops = f"{{{READ[1:-1]}, on_fail: stop}}"
    steps = f"  - group: battery\n    steps: [{stops}, {{wait: 1 s}}]\n    finally: [{{wait: 2 s}}]\n  - wait: 3 s\n"
    ran = run(plan_text(steps), levels(20))
    assert [verdict for _, verdict in ends(ran)] == ["fail", "skip", "pass", "skip"]


# --- steps that make no sense without others


def test_a_step_is_left_out_unless_those_before_it_passed() -> None:
    steps = f"""  - {{name: level, {READ[1:-1]}}}
  - group: more
    only_after: [level, connect]
    steps: [{{wait: 1 s}}]
  - wait: 2 s
    only_after: more
finally:
  - wait: 3 s
    only_after: level
  - wait: 4 s
    only_after: connect
"""
    bad, good = run(plan_text(steps), levels(20)), run(plan_text(steps), levels(90))
    assert [verdict for _, verdict in ends(good)] == ["pass"] * 5
    assert [verdict for _, verdict in ends(bad)] == ["fail", "skip", "skip", "skip", "pass"]
    assert {step.ended.root for step in bad.record.steps[3:6] if step.ended} == {Where("3")}
    assert (bad.ended.root, bad.ended.exit_code) == (Where("3"), 1)


def test_what_is_not_part_of_the_run_takes_others_with_it() -> None:
    steps = f"  - {{name: level, {READ[1:-1]}}}\n  - wait: 2 s\n    expect: {{elapsed: {{max: 3 s}}}}\nfinally:\n  - wait: 3 s\n    only_after: level\n"
    ran = run(plan_text(steps), levels(20), only=["wait 2 s"])
    assert (ran.ended.exit_code, ends(ran)) == (0, [])
    assert [step.ended.message for step in ran.record.steps if step.ended and step.ended.allowed] == [
        "'level' is not part of this run"
    ]


# --- rounds that nothing comes of


@pytest.mark.parametrize(
    "more",
    [
        "",
        "    every: 10 s\n",
        expect("failed: {max: 9}"),
        expect("failed: {max: 9}, read battery level.value: {min: 1 %}"),
    ],
)
def test_a_repetition_for_a_time_ends_where_nothing_can_be_carried_out(more: str) -> None:
    """Once the link is lost no round has anything to do: neither may it wait for hours, nor pass with so few failures."""
    gone = device_text(LEVELS.replace("LIST", "90 %"), more="faults: {disconnect_after: 3 s}")
    ran = run(plan_text(repeat("8 h", more=more)), gone)
    assert ran.ended.exit_code == 1
    assert ran.ended.cause == "link"
    assert ran.ended.at < 60


def test_a_repetition_in_which_nothing_takes_time_ends() -> None:
    steps = "  - wait: 1 s\n    name: never\n    expect: {elapsed: {max: 500 ms}}\n" + repeat(
        "8 h", "{wait: 1 s, only_after: never}"
    )
    assert run(plan_text(steps), levels(90)).ended.exit_code == 1


# --- interruptions, the plan's time


def interrupted(steps: str, at: float, twice: bool = False) -> Ran:
    def during(runner: Runner, event: AnyEvent) -> None:
        if isinstance(event, Opened) and event.where == Where("3"):
            for after in (at, at + 0.5) if twice else (at,):
                asyncio.get_running_loop().call_later(after, runner.interrupt)

    return run(plan_text(steps), levels(90), during=during)


CLEANED = "  - group: g\n    steps: [{wait: 10 s}, {wait: 11 s}]\n    finally: [{wait: 2 s}, {wait: 3 s}]\n  - wait: 4 s\nfinally:\n  - wait: 1 s\n"


def test_an_interruption_leaves_the_clean_up_of_a_group_alone() -> None:
    ran = interrupted(CLEANED, 1)
    assert [verdict for _, verdict in ends(ran)] == ["error", "skip", "pass", "pass", "skip", "pass"]
    assert (ran.ended.cause, ran.ended.exit_code) == ("operator", 2)
    again = interrupted(CLEANED, 1, twice=True)
    assert [verdict for _, verdict in ends(again)] == ["error", "skip", "error", "skip", "skip", "skip"]


def test_the_clean_up_of_a_group_that_was_interrupted_in_it_goes_on() -> None:
    ran = interrupted(CLEANED.replace("10 s", "1 s").replace("11 s", "1 ms"), 2)
    assert [verdict for _, verdict in ends(ran)] == ["pass", "pass", "pass", "pass", "skip", "pass"]
    assert ran.ended.exit_code == 2


@pytest.mark.parametrize("more", ["", expect("failed: {max: 9}")])
def test_an_interruption_ends_a_repetition(more: str) -> None:
    for at in (1.5, 4.0):  # in a round, and between two
        ran = interrupted(repeat(9, "{wait: 2 s}", more="    every: 5 s\n" + more), at)
        assert (ran.ended.exit_code, len(ends(ran))) == (2, 1)


def test_the_time_of_the_plan_ends_a_repetition() -> None:
    for every in ("", "    every: 30 s\n"):
        ran = run(
            plan_text(repeat("8 h", "{wait: 2 s}", more=every + expect("failed: {max: 9}")), head="deadline: 20 s\n"),
            levels(90),
        )
        assert (ran.ended.exit_code, ran.ended.cause) == (1, "limit")
        assert "the plan's deadline of 20 s ran out" in ran.ended.message


# --- parts of a plan


def test_a_part_of_a_plan_takes_a_repetition_whole(tmp_path: Path) -> None:
    (tmp_path / "plan.yaml").write_text(
        plan_text(repeat(2, READ, "{wait: 1 ms}") + "  - wait: 9 s\n"), encoding="utf-8"
    )
    plan = load_plan(tmp_path / "plan.yaml", {})
    for name in ("wait 1 ms", "3.2", "again"):
        assert [step.id for step in choose_steps(plan, only=[name])] == ["1", "2", "3"]
    assert [step.id for step in choose_steps(plan, from_="3.2")] == ["1", "2", "3", "4"]
