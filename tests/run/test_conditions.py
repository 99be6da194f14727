"""`only_if` in runs: what the plan leaves out is no failure, and never a silent pass."""

from __future__ import annotations

from pathlib import Path
from textwrap import indent

import pytest

from benchrig.record.model import Execution
from tests.run.kit import Ran, device_text, plan_text, run

GIVEN = "given: {market: {one_of: [de, us]}, current: {min: 0 A, max: 9 A, default: 2 A}, pin: {default: '25'}}\n"
REACH = "steps:\n  - scan:\n    for: 500 ms\n  - connect:\n    attempts: 3\n    within: 20 s\n"
SERVICES = """\
services:
  - service: battery
    characteristics: [{{characteristic: battery level, properties: [read], value: {battery}}}]
  - service: environmental sensing
    characteristics: [{{characteristic: temperature, properties: [read], value: {temperature}}}]
"""
USES = "  - wait: 100 ms\n    name: at '${market}' with '${current}' and '${pin}'\n"
BATTERY = "  - read: battery level\n    expect: {value: {min: 50 %}}\n"
TEMPERATURE = "  - read: temperature\n    only_if: {market: {equals: de}}\n    expect: {value: {max: 30 °C}}\n"


def of(
    steps: str, market: str = "us", *, battery: str = "80 %", temperature: str = "20 °C", more: str = "",
    air: str | None = None, reach: str = REACH, **how: object,
) -> Ran:  # fmt: skip
    text = plan_text(USES + steps, head=GIVEN, reach=reach) + more
    device = device_text(SERVICES.format(battery=battery, temperature=temperature))
    return run(text, device, given={"market": market}, air=air, **how)  # type: ignore[arg-type]


def end(step: Execution) -> tuple[str, bool, object]:
    assert step.ended is not None
    return step.ended.verdict, step.ended.allowed, step.ended.root


# --- steps


@pytest.mark.parametrize("air", [None, pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    ("market", "temperature", "verdict"),
    [("de", "20 °C", "pass"), ("de", "35 °C", "fail"), ("us", "20 °C", "pass"), ("us", "35 °C", "pass")],
)
def test_a_step_of_one_variant(market: str, temperature: str, verdict: str, air: str | None) -> None:
    ran = of(BATTERY + TEMPERATURE, market, temperature=temperature, air=air)
    assert ran.ended.verdict == verdict
    step = ran.step("read temperature")
    if market == "us":
        assert end(step) == ("skip", True, None)
        assert step.ended is not None
        assert step.ended.message == "only if market equals 'de'; market is 'us'"
        assert [(each.name, each.allowed, each.reason) for each in step.not_judged] == [
            ("value", True, "only if market equals 'de'; market is 'us'")
        ]
    assert (ran.ended.planned, ran.ended.not_judged, ran.ended.allowed) == (2, int(market == "us"), int(market == "us"))


INSIDE = indent(TEMPERATURE, "    ")
GROUP, ROUNDS = f"  - group: all\n    steps:\n{INSIDE}", f"  - repeat: 3\n    steps:\n{INSIDE}"


@pytest.mark.parametrize(
    "steps",
    [
        TEMPERATURE,
        "  - group: all\n    only_if: {market: {equals: de}}\n    steps:\n" + indent(BATTERY, "    "),
        GROUP,
        GROUP + "    expect: {failed: {max: 0}}\n",
        GROUP + "    expect: {elapsed: {max: 5 s}, passed: {min: 0}}\n",
        f"  - group: outer\n    steps:\n{indent(GROUP, '    ')}    expect: {{failed: {{max: 0}}}}\n",
        ROUNDS + "    expect: {passed: {min: 3}, failed: {max: 0}}\n",
        ROUNDS.replace("3", "1 s", 1) + "    expect: {rounds: {min: 1}}\n",
        ROUNDS + "    expect: {read temperature.elapsed: {max: 1 s}, read temperature.elapsed.p95: {max: 1 s}}\n",
        "  - read: temperature\n    expect: {value: {max: 30 °C, only_if: {market: {equals: de}}}}\n",
    ],
)
def test_a_run_in_which_all_is_left_out_proves_nothing(steps: str) -> None:
    ran = of(steps)
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "plan", 5)
    assert ran.ended.message == "no limit was judged, so nothing was proved"
    assert of(steps, "de").ended.verdict == "pass"


def test_what_is_left_out_counts_neither_as_passed_nor_as_failed() -> None:
    inside = indent(BATTERY + TEMPERATURE, "    ")
    group = f"  - group: all\n    steps:\n{inside}    expect: {{passed: {{equals: COUNT}}, failed: {{max: 0}}}}\n"
    assert of(group.replace("COUNT", "1")).ended.verdict == "pass"
    assert of(group.replace("COUNT", "2")).ended.cause == "limit"
    assert of(group.replace("COUNT", "2"), "de").ended.verdict == "pass"


def test_several_conditions_must_all_hold() -> None:
    step = "  - read: temperature\n    only_if: {market: {equals: us}, current: {min: 3 A}}\n    expect: {value: {max: 30 °C}}\n"
    ran = of(BATTERY + step)
    message = ran.step("read temperature").ended
    assert message is not None
    assert message.message == "only if current min 3 A; current is 2 A"


@pytest.mark.parametrize(("condition", "runs"), [("{pin: {equals: '25'}}", True), ("{pin: {differs: '25'}}", False), ("{current: {equals: 2000 mA}}", True)])  # fmt: skip
def test_texts_are_texts_and_numbers_numbers(condition: str, runs: bool) -> None:
    ran = of(BATTERY + TEMPERATURE.replace("{market: {equals: de}}", condition))
    assert (ran.step("read temperature").ended.verdict == "pass") is runs


def test_a_step_that_another_one_waits_for_takes_it_along() -> None:
    ran = of(BATTERY + TEMPERATURE + "  - wait: 1 s\n    only_after: read temperature\n")
    assert end(ran.record.steps[-1]) == ("skip", True, None)
    assert ran.ended.verdict == "pass"


# --- saved values


SAVED = "  - read: battery level\n    save: {value: charge}\n    expect: {value: {min: 1 %}}\n"
FULL = "  - read: temperature\n    only_if: {charge: {min: 50 %}}\n    expect: {value: {max: 30 °C}}\n"


@pytest.mark.parametrize(("battery", "temperature", "verdict"), [("80 %", "20 °C", "pass"), ("80 %", "35 °C", "fail"), ("40 %", "35 °C", "pass")])  # fmt: skip
def test_a_condition_on_what_the_unit_said(battery: str, temperature: str, verdict: str) -> None:
    ran = of(SAVED + FULL, battery=battery, temperature=temperature)
    assert ran.ended.verdict == verdict
    if battery == "40 %":
        assert ran.step("read temperature").ended.message == "only if charge min 50 %; charge is 40 %"


def test_a_condition_on_a_value_that_a_failed_step_owes_is_no_condition_that_does_not_hold() -> None:
    ran = of(SAVED.replace("battery level", "handle 0x0FFF") + FULL)
    assert ran.verdicts()[-2:] == ["fail", "skip"]
    verdict, allowed, root = end(ran.step("read temperature"))
    assert (verdict, allowed, getattr(root, "node", "")) == ("skip", False, "4")
    assert ran.ended.cause == "device"


def test_the_value_of_an_earlier_step_stays_when_the_later_one_is_left_out() -> None:
    later = "  - read: temperature\n    only_if: {market: {equals: de}}\n    save: {value: seen}\n"
    steps = SAVED.replace("charge", "seen") + later + "  - wait: 1 s\n    name: saw ${seen}\n"
    assert of(steps).record.steps[-1].planned.name == "saw 80 %"
    assert of(steps, "de").record.steps[-1].planned.name == "saw 20 °C"


def test_a_value_of_an_earlier_round_is_not_that_of_a_round_that_left_it_out() -> None:
    again = "      - read: battery level\n        name: NAME\n        save: {value: charge}\n"
    full = "        only_if: {charge: {min: 50 %}}\n"
    saves = f"      - read: temperature\n{full}        save: {{value: seen}}\n"
    uses = f"      - wait: 1 s\n{full}        name: saw ${{seen}}\n"
    rounds = "  - repeat: 2\n    steps:\n" + again.replace("NAME", "one") + saves + again.replace("NAME", "two") + uses
    ran = of(BATTERY + rounds, battery="{sequence: [80 %, 80 %, 80 %, 40 %, 80 %]}")
    assert [(step.planned.name, *end(step)[:2]) for step in ran.record.steps[-4:]] == [
        ("one", "pass", False),
        ("read temperature", "skip", True),
        ("two", "pass", False),
        ("wait 1 s", "skip", False),
    ]
    assert ran.ended.exit_code == 5


def test_a_condition_that_does_not_fit_what_a_function_gave_is_the_plans_mistake(tmp_path: Path) -> None:
    (tmp_path / "own.py").write_text("def thing(bench): return {'value': 'warm'}\n")
    plan = tmp_path / "plan.yaml"
    steps = "  - call: own:thing\n    save: {value: seen}\n  - wait: 1 s\n    only_if: {seen: {min: 5 °C}}\n" + BATTERY
    plan.write_text(plan_text(steps, reach=REACH), encoding="utf-8")
    ran = run(plan, device_text(SERVICES.format(battery="80 %", temperature="20 °C")))
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("error", "plan", 5)
    assert "its condition cannot be judged" in ran.ended.message


# --- a word in place of a number


WORD = """\
  - read: temperature
    name: cell
    save: {value: cell}
"""
COLD = "  - read: battery level\n    name: NAME\n    expect: {value: {min: 1 %}}\n    only_if: {cell: CONDITION}\n"


def of_word(steps: str, said: str, air: str | None = None) -> Ran:
    device = device_text(SERVICES.format(battery="80 %", temperature=said))
    return run(plan_text(WORD + steps, reach=REACH), device, air=air)


@pytest.mark.parametrize("air", [None, pytest.param("rough", marks=pytest.mark.slow)])
@pytest.mark.parametrize(
    "condition", ["{min: 2 °C}", "{below: 50 °C}", "{equals: 5 °C}", "{differs: 5 °C}", "{one_of: [5 °C, 6 °C]}"]
)
@pytest.mark.parametrize("inside", [False, True])
def test_a_word_where_a_condition_is_about_a_number_is_the_units_fault(
    condition: str, inside: bool, air: str | None
) -> None:
    step = COLD.replace("NAME", "warm").replace("CONDITION", condition)
    if inside:
        step = (
            f"  - group: all\n    only_if: {{cell: {condition}}}\n"
            "    steps: [{read: battery level, expect: {value: {min: 1 %}}}]\n"
        )
    ran = of_word(BATTERY + step, "not known", air)
    ended = next(s.ended for s in ran.record.executions if s.planned.name in ("warm", "all"))
    assert ended is not None
    assert (ended.verdict, ended.cause, ended.allowed) == ("fail", "limit", False)
    assert "cannot be decided: cell is 'not known'" in ended.message
    assert (ran.ended.verdict, ran.ended.cause, ran.ended.exit_code) == ("fail", "limit", 1)


def test_words_are_compared_with_words() -> None:
    for condition, verdict in (("{equals: not known}", "pass"), ("{differs: not known}", "skip")):
        step = COLD.replace("NAME", "warm").replace("CONDITION", condition)
        ran = of_word(BATTERY + step, "not known")
        assert (ran.step("warm").ended.verdict, ran.ended.exit_code) == (verdict, 0)  # type: ignore[union-attr]


def test_a_limit_whose_condition_the_unit_leaves_open_fails_its_step() -> None:
    step = "  - read: battery level\n    name: warm\n    expect: {value: {max: 1 %, only_if: {cell: {min: 50 °C}}}}\n"
    assert of_word(BATTERY + step, "2 °C").ended.exit_code == 0
    ran = of_word(BATTERY + step, "not known")
    assert (ran.ended.cause, ran.step("warm").ended.verdict) == ("limit", "fail")  # type: ignore[union-attr]


def test_a_condition_that_does_not_hold_decides_beside_one_that_nobody_knows() -> None:
    step = COLD.replace("NAME", "warm").replace("{cell: CONDITION}", "{cell: {min: 2 °C}, charge: {max: 10 %}}")
    ran = of_word(SAVED + BATTERY.replace("    expect", "    name: again\n    expect") + step, "not known")
    assert end(ran.step("warm")) == ("skip", True, None)


# --- the link


def test_a_connect_of_another_variant_is_no_lost_link() -> None:
    fast = "  - connect:\n    only_if: {market: {equals: de}}\n"
    slow = "  - connect:\n    name: slowly\n    within: 20 s\n    only_if: {market: {equals: us}}\n"
    for market in ("de", "us"):
        ran = of(BATTERY, market, reach=f"steps:\n{fast}{slow}")
        assert (ran.ended.verdict, ran.step("read battery level").ended.verdict) == ("pass", "pass")


def test_the_clean_up_of_one_variant() -> None:
    more = "finally:\n  - read: temperature\n    only_if: {market: {equals: de}}\n    expect: {value: {max: 10 °C}}\n"
    assert of(BATTERY, more=more).ended.verdict == "pass"
    assert of(BATTERY, "de", more=more).ended.cause == "limit"


# --- limits


LIMITED = (
    "  - read: temperature\n    expect: {value: {max: 30 °C, only_if: {market: {equals: de}}}, elapsed: {max: 2 s}}\n"
)


@pytest.mark.parametrize(
    ("market", "temperature", "verdict"),
    [("de", "20 °C", "pass"), ("de", "35 °C", "fail"), ("us", "35 °C", "pass")],
)
def test_a_limit_of_one_variant(market: str, temperature: str, verdict: str) -> None:
    ran = of(LIMITED, market, temperature=temperature)
    step = ran.step("read temperature")
    assert (ran.ended.verdict, step.ended.verdict) == (verdict, verdict)
    assert ran.ended.planned == 2
    if market == "us":
        assert [(each.name, each.allowed) for each in step.not_judged] == [("value", True)]
        assert ran.reading("read temperature").judgement is None


def test_a_refusal_that_one_variant_alone_expects() -> None:
    step = "  - read: temperature\n    expect: {att_error: {equals: read not permitted, only_if: {market: {equals: de}}}}\n"
    ran = of(BATTERY + step)
    assert (ran.ended.verdict, ran.step("read temperature").ended.verdict) == ("pass", "pass")
    assert of(BATTERY + step, "de").ended.cause == "limit"


def test_a_limit_on_failed_rounds_for_one_variant_decides_there_alone() -> None:
    inner = "      - read: temperature\n        expect: {value: {max: 10 °C}}\n"
    rounds = (
        f"  - repeat: 2\n    steps:\n{inner}    expect: {{failed: {{max: 2, only_if: {{market: {{equals: de}}}}}}}}\n"
    )
    assert of(BATTERY + rounds, "de").ended.verdict == "pass"
    assert of(BATTERY + rounds, "us").ended.verdict == "fail"


# --- a run that is only a part, a radio that cannot do all


def test_a_part_of_a_plan_takes_the_steps_that_conditions_need() -> None:
    ran = of(SAVED + FULL, only=["read temperature"])
    assert [step.planned.name for step in ran.record.steps] == [
        "scan",
        "connect",
        "read battery level",
        "read temperature",
    ]
    assert ran.ended.verdict == "pass"


def test_what_the_radio_cannot_do_need_not_be_done_in_another_variant() -> None:
    cannot = {"discover": "it has no table"}
    step = "  - discover:\n    only_if: {market: {equals: de}}\n"
    assert of(BATTERY + step, cannot=cannot).ended.verdict == "pass"
    assert of(BATTERY + step, "de", cannot=cannot).ended.cause == "station"
