"""`only_if` in `check`: a condition that is misspelt, or that nobody can decide, must not leave anything out silently."""

from __future__ import annotations

import pytest

from benchrig.plan.given import MissingGiven
from tests.plan.building import STEPS, plan_of, problem_of, problems_of, where

GIVEN = "given: {market: {one_of: [de, us]}, limit: {min: 1 A, max: 5 A}, note: {}, pin: {secret: true}}\n"
HEAD = "plan: a plan\ndevice:\n  select: {name: 'unit*'}\n  attributes:\n    state: {uuid: 0xFF01, as: uint8, words: {0: idle, 1: ready}, only_words: true}\n"
USES = "  - wait: 1 s\n    name: '${market} ${limit} ${note}'\n  - write: 0xFF02\n    raw: '${pin}'\n"
SAVES = "  - read: state\n    save: {value: seen}\n  - read: battery level\n    save: {value: level}\n  - discover:\n    name: '${seen} ${level}'\n"


def plan_text(steps: str, reach: str = STEPS) -> str:
    return f"{HEAD}{GIVEN}{reach}{USES}{SAVES}{steps}"


def conditional(condition: str) -> str:
    return f"  - read: model number\n    only_if: {condition}\n"


def said_of(condition: str) -> list[tuple[str, str]]:
    return [(each.message, each.advice) for each in problems_of(plan_text(conditional(condition)))]


@pytest.mark.parametrize(
    "condition",
    [
        "{market: {equals: de}}",
        "{market: {one_of: [de, us]}, seen: {equals: ready}}",
        "{limit: {above: 2 A}}",
        "{note: {matches: 'A.*'}}",
        "{level: {min: 20 %}}",
        "{seen: {differs: idle}}",
        "{note: {equals: '${market}'}}",
    ],
)
def test_a_condition_on_a_value_that_is_known_by_then(condition: str) -> None:
    plan = plan_of(plan_text(conditional(condition)))
    assert {*plan.steps[-1].uses} == {*__import__("re").findall(r"market|seen|limit|note|level", condition)}


@pytest.mark.parametrize(
    ("condition", "said", "advice"),
    [
        ("{markt: {equals: de}}", "nothing before this step gives 'markt' a value", "did you mean 'market'?"),
        ("{zzz: {equals: de}}", "nothing before this step gives 'zzz' a value", "level, limit, market"),
        ("{market: {equals: dee}}", "market is never that: 'dee' is not one of 'de', 'us'", "did you mean 'de'?"),
        ("{market: {one_of: [de, uk]}}", "market is never that: 'uk' is not one of 'de', 'us'", "choose one of: de, us"),
        ("{market: {eqals: de}}", "unknown key 'eqals'", "did you mean 'equals'?"),
        ("{market: de}", "expected a mapping, found", ""),
        ("{market: {}}", "an empty limit", "write at least one of"),
        ("{}", "only_if has no condition", "write a value and its limit"),
        ("market", "expected a mapping", ""),
        ("{market: {equals: 25}}", "expected text, found the number 25", "quote it: '25'"),
        ("{market: {min: 5}}", "'min' does not apply to a reading that is text", ""),
        ("{limit: {max: 3}}", "3 has no unit", "write 3 A"),
        ("{limit: {max: 3 V}}", "3 V is a voltage, not a current", ""),
        ("{limit: {equals: '3'}}", "expected a number with its unit, found the text '3'", ""),
        ("{limit: {min: 6 A}}", "limit is min 1 A and max 5 A, so this never holds", "write a limit within"),
        ("{limit: {above: 5 A}}", "limit is min 1 A and max 5 A, so this never holds", "write a limit within"),
        ("{limit: {differs: 6 A}}", "limit is never that: 6 A is above", ""),
        ("{market: {differs: uss}}", "market is never that: 'uss' is not one of 'de', 'us'", "did you mean 'us'?"),
        ("{market: {matches: 'd'}}", "market is one of de, us, so this never holds", "write a limit within"),
        ("{level: {min: '${limit}'}}", "${limit} is a current in A, level is a ratio in %", "value of the same kind"),
        ("{pin: {equals: '1234'}}", "the secret 'pin' would be told by what is left out", "take another value"),
        ("{level: {min: 20 °C}}", "20 °C is a temperature, not a ratio", ""),
        ("{level: {min: 300 %}}", "so nothing could pass", ""),
        ("{seen: {equals: redy}}", "the reading is never that", ""),
        ("{level: {rising: true}}", "a condition is about one value, and rising needs several", ""),
        ("{market: {equals: de, only_if: {note: {equals: a}}}}", "unknown key 'only_if'", ""),
        ("{later: {equals: 1}}", "nothing before this step gives 'later' a value", ""),
    ],
)  # fmt: skip
def test_a_condition_that_would_leave_out_by_a_slip(condition: str, said: str, advice: str) -> None:
    found = said_of(condition)
    assert any(said in message and advice in what for message, what in found), found


def test_a_condition_has_its_place() -> None:
    problem = problem_of(plan_text(conditional("{markt: {equals: de}}")))
    assert where(problem) == "plan.yaml:20:15"


def test_a_limit_for_some_runs_is_checked_like_a_condition_of_a_step() -> None:
    step = "  - read: model number\n    expect: {value: {equals: X, only_if: {markt: {equals: de}}}}\n"
    assert problem_of(plan_text(step)).advice == "did you mean 'market'?"
    alone = "  - read: model number\n    expect: {value: {only_if: {market: {equals: de}}}}\n"
    assert problem_of(plan_text(alone)).message == "an empty limit"


@pytest.mark.parametrize("step", ["only_if: {market: {equals: de}}", "expect: {value: {equals: X, only_if: {market: {equals: de}}}}"])  # fmt: skip
def test_a_value_that_only_a_condition_is_about_has_to_be_given(step: str) -> None:
    text = f"plan: a plan\ndevice: {{select: {{name: u}}}}\ngiven: {{market: {{one_of: [de, us]}}}}\n{STEPS}  - read: model number\n    {step}\n"
    with pytest.raises(MissingGiven, match="market"):
        plan_of(text, {})
    assert plan_of(text, {"market": "de"}).values == {"market": "de"}


# --- what a step that is left out does not do


def saver(condition: str, name: str = "") -> str:
    return f"  - read: model number\n{name}    only_if: {condition}\n    save: {{value: model}}\n"


USER = "  - wait: 2 s\n    name: 'of ${model}'\n"


def test_a_value_that_only_one_variant_saves_is_used_in_it_alone() -> None:
    problem = problem_of(plan_text(saver("{market: {equals: de}}") + USER))
    assert problem.message == "nothing before this step gives 'model' a value (where market is 'us')"
    assert problem.advice == "give both steps the same only_if, or take it out of the one"


@pytest.mark.parametrize(
    "steps",
    [
        saver("{market: {equals: de}}") + USER + "    only_if: {market: {equals: de}}\n",
        saver("{market: {equals: de}}") + USER + "    only_if: {market: {one_of: [de]}}\n",
        saver("{market: {equals: de}}") + saver("{market: {equals: us}}", "    name: other\n") + USER,
        saver("{limit: {max: 3 A}}") + saver("{limit: {above: 3 A}}", "    name: other\n") + USER,
        saver("{note: {matches: 'A.*'}}") + USER + "    only_if: {note: {matches: 'A.*'}, market: {equals: de}}\n",
        "  - read: model number\n    save: {value: model}\n"
        + saver("{market: {equals: us}}", "    name: other\n")
        + USER,
    ],
)
def test_a_value_that_is_there_wherever_it_is_used(steps: str) -> None:
    assert plan_of(plan_text(steps)).steps


@pytest.mark.parametrize(
    ("steps", "world"),
    [
        (saver("{limit: {max: 3 A}}") + saver("{limit: {min: 4 A}}", "    name: other\n") + USER, "limit is 3.5 A"),
        (
            saver("{note: {matches: 'A.*'}}") + USER + "    only_if: {note: {matches: 'B.*'}}\n",
            "note is something else",
        ),
        (saver("{market: {equals: de}}") + "  - wait: 2 s\n    only_if: {model: {equals: X}}\n", "market is 'us'"),
    ],
)
def test_a_value_that_is_not_there_in_one_world(steps: str, world: str) -> None:
    problem = problem_of(plan_text(steps))
    assert "gives 'model' a value (where " in problem.message
    assert world in problem.message


LINK = "steps:\n  - connect:\n    only_if: {market: {equals: de}}\n"


def test_a_link_that_only_one_variant_makes() -> None:
    messages = [each.message for each in problems_of(plan_text("", LINK))]
    assert messages == ["'write 0xFF02' needs a connection, but no connect step comes before it (where market is 'us')"]
    both = f"{LINK}  - connect:\n    name: slowly\n    within: 20 s\n    only_if: {{market: {{equals: us}}}}\n"
    assert plan_of(plan_text("", both)).steps


def test_a_link_that_two_steps_make_in_one_variant() -> None:
    both = f"{LINK}  - connect:\n    name: slowly\n    only_if: {{market: {{one_of: [de, us]}}}}\n"
    assert [each.message for each in problems_of(plan_text("", both))] == [
        "'slowly' runs while the unit is connected already (where market is 'de')"
    ]


def test_what_is_wrong_in_every_world_is_told_as_without_any() -> None:
    text = plan_text(conditional("{market: {equals: de}}"), "steps:\n  - scan:\n")
    assert problems_of(text)[0].message == "'write 0xFF02' needs a connection, but no connect step comes before it"


# --- groups and rounds


def test_a_group_leaves_out_all_that_is_in_it() -> None:
    group = "  - group: inner\n    only_if: {market: {equals: de}}\n    steps:\n      - read: model number\n        save: {value: model}\n"
    assert "where market is 'us'" in problem_of(plan_text(group + USER)).message
    inside = group + "      - wait: 2 s\n        name: 'of ${model}'\n"
    assert plan_of(plan_text(inside)).steps


def test_a_condition_on_the_value_of_a_round() -> None:
    rounds = "  - repeat: {mode: [low, high]}\n    steps:\n      - wait: 2 s\n        only_if: {mode: {equals: MODE}, round: {min: 1}}\n      - wait: 3 s\n        name: in ${mode}\n"
    assert plan_of(plan_text(rounds.replace("MODE", "low"))).steps
    assert problem_of(plan_text(rounds.replace("MODE", "lwo"))).message.startswith("mode is never that")
    outside = plan_text(rounds.replace("MODE", "low") + "  - wait: 4 s\n    only_if: {round: {min: 2}}\n")
    assert "gives 'round' a value" in problem_of(outside).message


MANY = "given: {" + ", ".join(f"v{n}: {{one_of: [a, b, c]}}" for n in range(12)) + "}\n"


def test_many_conditions_do_not_take_their_powers_in_time() -> None:
    steps = "".join(f"  - wait: {n + 1} s\n    only_if: {{v{n}: {{equals: a}}}}\n" for n in range(12))
    assert len(plan_of(f"{HEAD}{MANY}{STEPS}{steps}").steps) == 13


@pytest.mark.parametrize("number", [0, 11])
def test_of_many_conditions_each_is_tried(number: int) -> None:
    steps = "".join(
        f"  - read: model number\n    name: r{n}\n    only_if: {{v{n}: {{equals: b}}}}\n    save: {{value: s{n}}}\n"
        for n in range(12)
    )
    uses = "".join(
        f"  - wait: {n + 1} s\n    name: 'of ${{s{n}}}'\n{'' if n == number else f'    only_if: {{v{n}: {{equals: b}}}}'}\n"
        for n in range(12)
    )
    problem = problem_of(f"{HEAD}{MANY}{STEPS}{steps}{uses}")
    assert problem.message.startswith(f"nothing before this step gives 's{number}' a value (where ")
    assert f"v{number} is 'a'" in problem.message


# --- included files

PART = """\
steps:
  - group: unlock
    steps:
      - read: model number
        name: model
  - wait: 2 s
    only_after: unlock
    only_if: {note: {equals: a}}
"""


def using(keys: str, part: str = PART) -> str:
    return plan_text(f"  - use: part.yaml\n    name: first\n{keys}")


def test_a_use_gives_its_conditions_to_each_of_its_steps() -> None:
    plan = plan_of(using("    only_if: {market: {equals: de}}\n    only_after: connect\n"), part=PART)
    group, wait = plan.steps[-3], plan.steps[-1]
    assert (group.name, {*group.step.only_if}, group.step.only_after) == ("first: unlock", {"market"}, ["connect"])
    assert ({*wait.step.only_if}, wait.step.only_after) == ({"market", "note"}, ["connect", "first: unlock"])


def test_a_file_knows_its_own_steps_without_what_is_put_before_their_names() -> None:
    steps = "  - use: outer.yaml\n    name: outer\n"
    outer = "steps:\n  - wait: 3 s\n    name: begin\n  - use: part.yaml\n    name: inner\n    only_after: begin\n"
    plan = plan_of(plan_text(steps), outer=outer, part=PART)
    assert plan.steps[-1].step.only_after == ["outer: begin", "outer: inner: unlock"]
    wrong = outer.replace("only_after: begin", "only_after: begni")
    problem = problems_of(plan_text(steps), outer=wrong, part=PART)[0]
    assert (where(problem), problem.message) == ("outer.yaml:6:17", "the plan has no step 'begni'")


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("    only_if: {markt: {equals: de}}\n", "nothing before this step gives 'markt' a value"),
        ("    only_if: {market: {equals: dee}}\n", "market is never that"),
        ("    only_if: [market]\n", "expected a mapping"),
        ("    only_if: {note: {equals: b}}\n", "the 'use' of this file has a condition on 'note' too"),
        ("    only_after: nothing\n", "the plan has no step 'nothing'"),
        ("    onyl_if: {market: {equals: de}}\n", "unknown key 'onyl_if'"),
    ],
)
def test_what_is_wrong_with_the_condition_of_a_use(keys: str, said: str) -> None:
    problems = problems_of(using(keys), part=PART)
    assert any(said in each.message for each in problems), problems


def test_a_use_of_one_variant_makes_the_link_of_that_variant() -> None:
    text = plan_text("", "steps:\n  - use: part.yaml\n    only_if: {market: {equals: de}}\n")
    problem = problems_of(text, part="steps:\n  - connect:\n")[0]
    assert "needs a connection, but no connect step comes before it (where market is 'us')" in problem.message


LISTED = "  - repeat: {least: [1 %%, 2 %%, 5 %%]}\n    steps:\n      - read: battery level\n        name: again\n        only_if: %s\n"
ROUNDS = "  - repeat: 3\n    steps:\n      - repeat: 5\n        steps: [{wait: 1 s}]\n      - read: battery level\n        name: again\n        only_if: %s\n"


@pytest.mark.parametrize(
    ("steps", "condition"),
    [(LISTED, "{least: {min: 2 %}}"), (LISTED, "{least: {equals: 5 %}}"), (ROUNDS, "{round: {equals: 3}}"), (ROUNDS, "{round: {above: 1}}")],
)  # fmt: skip
def test_a_condition_on_a_value_of_a_list_or_on_the_round(steps: str, condition: str) -> None:
    assert plan_of(HEAD + STEPS + steps % condition).steps


@pytest.mark.parametrize(
    ("steps", "condition", "said"),
    [
        (LISTED, "{least: {min: 2}}", "2 has no unit"),
        (LISTED, "{least: {min: 6 %}}", "least is never that: it is one of 1 %, 2 %, 5 %"),
        (LISTED, "{least: {differs: 3 %}}", "least is never that: it is one of 1 %, 2 %, 5 %"),
        (ROUNDS, "{round: {above: 3}}", "round is a whole number from 1 to 3, so this never holds"),
        (ROUNDS, "{round: {equals: 4}}", "round is a whole number from 1 to 3, so this never holds"),
        (ROUNDS, "{round: {equals: 0}}", "round is a whole number from 1 to 3, so this never holds"),
        (ROUNDS.replace("repeat: 3", "repeat: 8 h"), "{round: {below: 1}}", "round is a whole number from 1 on"),
    ],
)
def test_a_condition_that_holds_in_no_round(steps: str, condition: str, said: str) -> None:
    assert said in problem_of(HEAD + STEPS + steps % condition).message


TOGETHER = "no 'market' satisfies this and the conditions around it, so no run has it"
NESTED = "  - group: g\n    only_if: {market: {equals: de}}\n    steps:\n"


@pytest.mark.parametrize(
    "steps",
    [
        NESTED + "      - read: model number\n        only_if: {market: {differs: de}}\n",
        NESTED + "      - read: model number\n        expect: {value: {equals: A, only_if: {market: {equals: us}}}}\n",
    ],
)
def test_conditions_that_keep_a_step_out_of_every_run(steps: str) -> None:
    assert problem_of(plan_text(steps)).message == TOGETHER


def test_a_file_of_steps_may_have_steps_for_other_plans() -> None:
    part = "given: {value: {}}\nsteps:\n  - read: model number\n    only_if: {market: {equals: us}}\n    expect: {value: {equals: '${value}'}}\n"
    used = NESTED + "      - {use: part.yaml, with: {value: A}}\n"
    assert plan_of(plan_text(used), part=part).steps
