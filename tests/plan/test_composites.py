"""What check says of steps with steps in them, at the place of the mistake (marked with «)."""

from __future__ import annotations

import pytest

from benchrig.plan.lists import MAX_NESTED
from tests.plan.building import plan_of, problem_of, problems_of, where, with_steps
from tests.plan.test_schema import accepted

LOOK = "{read: temperature, name: look}"

MISTAKES = [
    ("- repeat: 2\n  steps: [LOOK]\n  expect: {«look.valu: {max: 5 °C}}", "a repeat step has no reading 'look.valu'", "did you mean 'look.value'"),
    ("- repeat: 2\n  steps: [LOOK]\n  expect: {«lok.value: {max: 5 °C}}", "a repeat step has no reading 'lok.value'", "did you mean 'look.value'"),
    ("- repeat: 2\n  steps: [LOOK]\n  expect: {look.value: {max: «5 s}}", "5 s is a time, not a temperature", ""),
    ("- repeat: 2\n  steps: [LOOK]\n  expect: {look.value.spread: {max: «5 s}}", "5 s is a time, not a temperature difference", ""),
    ("- repeat: 2\n  steps: [LOOK]\n  expect: {«look.value.p100: {max: 5 °C}}", "a repeat step has no reading 'look.value.p100'", ""),
    ("- repeat: 2\n  steps: [{read: manufacturer name, name: look}]\n  expect: {«look.value.p95: {max: 5}}", "a repeat step has no reading 'look.value.p95'", "did you mean 'look.value'"),
    ("- repeat: 2\n  steps: [LOOK]\n  stop_when: {«look.valu: {max: 5 °C}}", "a repeat step has no reading 'look.valu'", "did you mean 'look.value'"),
    ("- repeat: 2\n  steps: [LOOK]\n  stop_when: {failed: {min: «5 s}}", "", ""),
    ("- repeat: 2\n  steps: [LOOK]\n  save: {«look.valu: x}", "a repeat step has no reading 'look.valu'", "did you mean 'look.value'"),
    ("- repeat: «0\n  steps: [LOOK]", "expected 1 to 10000000 rounds, found 0", "for example: 50"),
    ("- repeat: «0 s\n  steps: [LOOK]", "a repetition takes more than 0 s", "for example: 8 h"),
    ("- repeat: «0.5\n  steps: [LOOK]", "expected a number of rounds, a time or a list of values, found the number 0.5", "for example: 50"),
    ("- repeat: {a: «[]}\n  steps: [LOOK]", "expected a list of values, found none", "for example: 50"),
    ("- repeat: {a: [«[1]]}\n  steps: [LOOK]", "expected a single value, found a list", ""),
    ("- repeat: «{a: [1], b: [2]}\n  steps: [LOOK]", "expected one name with a list of values, found 2 names", "for example: 50"),
    ("- repeat: «8 h\n  steps: [{compute: {x: '${round + 1}'}}]", "it could not end: no step in it takes any of the 28800 s", "add every: 1 s"),
    ("- repeat: {level: [1, red, 2 °C]}\n  steps: [{write: alert level, value: «'${level}'}]", "", ""),
    ("- repeat: {least: [1 °C, 2 s]}\n  steps: [{read: temperature, expect: {value: {min: «'${least}'}}}]", "2 s is a time, not a temperature (least: 2 s)", ""),
    ("- repeat: {«level: [1, 2]}\n  steps: [LOOK]", "the listed value 'level' is not used", "use it as ${level}"),
    ("- repeat: 2\n  steps: [LOOK]\n- write: alert level\n  value: «'${round}'", "nothing before this step gives 'round' a value", ""),
    ("- repeat: 2\n  every: «0 s\n  steps: [LOOK]", "every must be more than 0 s", "for example: 10 s"),
    ("- repeat: 2\n  within: «5 s\n  steps: [LOOK]", "a repeat step has no deadline", "write within: in the steps in it"),
    ("- repeat: 2\n  attempts: «2\n  steps: [LOOK]", "a repeat step is never tried again", "take out attempts"),
    ("- «repeat: 2", "the key 'steps' is missing", "add steps: …"),
    ("- repeat: 2\n  steps: «[]", "'steps' has no steps", "for example: - scan:"),
    ("- repeat: 2\n  steps: «5", "expected a list of steps, found the number 5", "for example: - scan:"),
    ("- repeat: 2\n  «stepz: [LOOK]\n  steps: [LOOK]", "unknown key 'stepz'", "did you mean 'steps'"),
    ("- repeat: 2\n  steps: [«{raed: temperature}]", "no verb in this step", "did you mean 'read'"),
    ("- repeat: 2\n  steps: [{read: «temprature}]", "unknown attribute 'temprature'", "did you mean 'temperature'"),
    ("- repeat: 2\n  steps: [LOOK, {wait: 1 s, name: «look}]", "two steps are named 'look' (first in line 7)", "rename one"),
    ("- group: g\n  steps: [LOOK]\n- group: «g\n  steps: [{wait: 1 s}]", "two steps are named 'g' (first in line 6)", "rename one"),
    ("- group: g\n  name: «h\n  steps: [LOOK]", "a group has its name behind the verb", "write group: h, and take out name"),
    ("- group: g\n  first: «[]\n  steps: [LOOK]", "'first' has no steps", "for example: - scan:"),
    ("- read: temperature\n  only_after: «nothing", "the plan has no step 'nothing'", "choose one of: connect"),
    ("- read: temperature\n  only_after: [connect, «conect]", "the plan has no step 'conect'", "did you mean 'connect'"),
    ("- group: g\n  steps: [{wait: 1 s, only_after: «g}]", "'g' is not over before this step begins", "name an earlier step"),
    ("- wait: 1 s\n  only_after: «look\n- LOOK", "'look' is not over before this step begins", "name an earlier step"),
    ("- wait: 1 s\n  only_after: «'${x}'", "${x} is not allowed here", "write the name of a step"),
    ("- wait: 1 s\n  only_after: «5", "expected the name of a step, found the number 5", "write the name of an earlier step"),
]  # fmt: skip


@pytest.mark.parametrize(("steps", "message", "advice"), MISTAKES)
def test_a_mistake_is_told_at_its_place(steps: str, message: str, advice: str) -> None:
    text = with_steps(steps.replace("LOOK", LOOK), "")
    line, column = next((n, row.index("«") + 1) for n, row in enumerate(text.split("\n"), 1) if "«" in row)
    problems = problems_of(text.replace("«", ""))
    told = [problem for problem in problems if where(problem) == f"plan.yaml:{line}:{column}"]
    assert told, [(where(problem), problem.message) for problem in problems]
    assert told[0].message.startswith(message)
    assert told[0].advice.startswith(advice)


def test_all_mistakes_in_steps_within_steps_are_told_at_once() -> None:
    steps = "- group: g\n  first: [{read: temprature}]\n  steps:\n    - repeat: two\n      steps: [{raed: x}, {wait: 5}]\n  expect: {elapsd: {max: 1 s}}"
    assert len(problems_of(with_steps(steps))) == 5


def test_steps_within_each_other_are_bounded() -> None:
    def nested(depth: int) -> str:
        steps = "{wait: 1 s}"
        for number in range(depth):
            steps = f"{{group: g{number}, steps: [{steps}]}}"
        return with_steps(f"- {steps}")

    assert plan_of(nested(MAX_NESTED))
    assert problem_of(nested(MAX_NESTED + 1)).message == f"more than {MAX_NESTED} steps within each other"


def test_use_works_in_steps_within_steps_and_brings_groups() -> None:
    part = "steps:\n  - group: inner\n    steps: [{wait: 1 s}]\n"
    plan = plan_of(with_steps("- repeat: 2\n  name: r\n  steps:\n    - {use: part.yaml, name: again}"), part=part)
    assert [(step.id, step.name) for step in plan.steps[-3:]] == [
        ("2", "r"),
        ("2.1", "again: inner"),
        ("2.1.1", "again: wait 1 s"),
    ]


def test_a_part_that_includes_itself_in_a_group_is_a_circle() -> None:
    part = "steps:\n  - group: inner\n    steps: [{use: part.yaml}]\n"
    assert problem_of(with_steps("- use: part.yaml"), part=part).message.startswith("circular include")


GOOD = [
    "- repeat: 8 h\n  every: 1 min\n  stop_when: {failed: {min: 3}, look.value: {min: 9 °C}}\n  steps: [LOOK]\n  expect: {look.value.p99.9: {max: 8 °C}, failed: {max: 2}}",
    "- repeat: {level: [1, 2 s, high]}\n  steps: [{ask: 'Is it ${level}?'}, {repeat: '${round}', steps: [LOOK]}]",
    "- group: g\n  first: [LOOK]\n  steps: [{group: h, steps: [{wait: 1 s}]}]\n  finally: [{wait: 2 s, only_after: [look, h]}]\n  only_after: connect",
]  # fmt: skip


@pytest.mark.parametrize("steps", GOOD)
def test_the_schema_takes_what_the_loader_takes(steps: str) -> None:
    text = with_steps(steps.replace("LOOK", LOOK))
    assert plan_of(text)
    assert accepted(text)


@pytest.mark.parametrize(
    "steps", [steps for steps, message, _ in MISTAKES if "unknown key" in message or "is missing" in message]
)
def test_the_schema_refuses_what_the_loader_refuses(steps: str) -> None:
    assert not accepted(with_steps(steps.replace("LOOK", LOOK).replace("«", "")))
