"""What a plan promises, and the steps that prove it."""

from __future__ import annotations

import pytest

from benchrig.plan.remarks import hints
from tests.plan.building import marked, plan_of, problem_of, problems_of, where, with_steps

PROMISES = "requirements: {R-7: It says which model it is, R-12: The battery lasts}\n"
READ = "- read: battery level\n  expect: {value: {min: 20 %}}\n"
PART = "given: {promised: {}}\nsteps:\n  - wait: 1 s\n    name: part\n    proves: '${promised}'\n"


def proving(steps: str, **files: str) -> dict[str, list[str]]:
    return {step.name: step.proves for step in plan_of(with_steps(steps, PROMISES), **files).steps if step.proves}


@pytest.mark.parametrize(
    ("steps", "message", "advice"),
    [
        ("- wait: 1 s\n  proves: «R-77", "the plan has no requirement 'R-77'", "did you mean 'R-7'?"),
        ("- wait: 1 s\n  proves: [R-7, «R-1]", "the plan has no requirement 'R-1'", "did you mean 'R-12' or 'R-7'?"),
        ("- wait: 1 s\n  proves: «7", "expected the id of a requirement, found the number 7", "write the id of a req"),
        (
            "- wait: 1 s\n  proves: «[]",
            "expected the id of a requirement, found a list",
            "write the id of a requirement",
        ),
        ("- group: g\n  proves: «x\n  steps: [{wait: 1 s}]", "the plan has no requirement 'x'", "choose one of: R-12"),
        ("- wait: 1 s\n  proves: «'${x}'", "${x} is not allowed here", "write the id of a requirement"),
    ],
)
def test_ids_that_nobody_promised(steps: str, message: str, advice: str) -> None:
    text, place = marked(with_steps(steps, PROMISES))
    problem = problems_of(text)[0]
    assert (problem.message, where(problem)) == (message, place)
    assert problem.advice.startswith(advice)


def test_a_requirement_says_something_and_refers_to_nothing() -> None:
    steps = with_steps("- wait: 1 s")
    assert problem_of(steps.replace("steps:", "requirements: {R-1: ' '}\nsteps:")).message.endswith("says nothing")
    assert "not allowed here" in problem_of(steps.replace("steps:", "requirements: {R-1: '${x}'}\nsteps:")).message


def test_steps_groups_and_files_of_steps_prove() -> None:
    assert proving("- group: g\n  proves: [R-7, R-12, R-7]\n  steps:\n    - wait: 1 s\n      proves: R-12") == {
        "g": ["R-7", "R-12"], "wait 1 s": ["R-12"],
    }  # fmt: skip
    assert proving("- use: part.yaml\n  with: {promised: R-7}", part=PART) == {"part": ["R-7"]}
    assert proving("- use: part.yaml\n  with: {promised: [R-7, R-12]}", part=PART) == {"part": ["R-7", "R-12"]}
    assert proving("- use: part.yaml\n  proves: R-12\n  with: {promised: R-7}", part=PART) == {"part": ["R-12", "R-7"]}
    outer = "steps: [{use: part.yaml, proves: R-12, with: {promised: R-7}}]\n"
    assert proving("- use: outer.yaml\n  proves: R-7", part=PART, outer=outer) == {"part": ["R-7", "R-12"]}


def test_check_notes_what_no_run_can_prove() -> None:
    plan = plan_of(with_steps(f"- wait: 1 s\n  proves: R-7\n{READ}", PROMISES))
    assert [sentence for _, sentence in hints(plan)] == [
        "no step that proves the requirement 'R-7' has a limit: add one",
        "no step proves the requirement 'R-12': add proves: R-12 to one",
    ]
    group = READ.replace("\n", "\n    ").strip()
    plan = plan_of(with_steps(f"- group: g\n  proves: [R-7, R-12]\n  steps:\n    {group}", PROMISES))
    assert [*hints(plan)] == [], "a limit of a step in it will do"
