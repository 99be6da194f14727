"""A plan file as a whole: all mistakes at once, what is shown of them, files that are no text, the hash."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_names, load_plan
from tests.plan.building import HEAD, STEPS, plan_of, problem_of, problems_of, where, with_steps

TEN = """\
plan: 5
revison: 3
device:
  select: {name: 'unit*', rssi_min: -70}
deadline: 60
steps:
  - read: temprature
    expect: {value: {max: 30}}
  - connect:
    within: 5 °C
  - read: temperature
    expect: {value: {min: 30 °C, max: 15 °C}}
  - read: temperature
    expect: {valu: {max: 15 °C}}
  - write: temperature
  - raed: temperature
"""


def test_ten_mistakes_are_ten_problems_in_the_order_of_the_text():
    lines = [problem.place.line for problem in problems_of(TEN)]
    assert lines == [1, 2, 4, 5, 7, 10, 12, 14, 15, 16]


def test_a_problem_shows_its_line_with_a_caret_and_advice():
    said = str(problem_of(with_steps("- read: temprature"))).split("\n")
    assert said[0].endswith("plan.yaml:6:11: unknown attribute 'temprature'")
    assert said[1:3] == [
        "    6 |   - read: temprature",
        "      |           ^",
    ]
    assert said[3].startswith("  did you mean 'temperature'")


def test_the_caret_of_a_long_line_is_below_the_bad_word():
    text = f"{HEAD}{STEPS}  - {{name: {'x' * 300}, read: temprature}}\n"
    _, line, caret, _ = str(problem_of(text)).split("\n")
    assert line[caret.index("^") :].startswith("temprature")


def test_nothing_in_a_message_steers_the_terminal():
    text = str(problem_of(with_steps('- {"a\\e[31m": 1, read: temperature}')))
    assert r"a\x1b[31m" in text
    assert text.replace("\n", "").isprintable()


def test_bytes_that_are_no_utf_8_are_named_with_their_place():
    problem = problem_of(HEAD.encode() + b"caution: caf\xe9\n")
    assert (problem.message, where(problem)) == ("byte 0xE9 is not UTF-8", "plan.yaml:4:13")
    assert problem.advice == "save the file as UTF-8"


def test_a_byte_order_mark_is_no_mistake():
    assert plan_of(b"\xef\xbb\xbf" + with_steps("- read: temperature").encode()).name == "a plan"


def test_one_mebibyte_is_read_and_one_byte_more_is_not():
    text = with_steps("- read: temperature") + "#"
    assert plan_of(text.ljust(1 << 20, "x")).name == "a plan"
    assert problem_of(text.ljust((1 << 20) + 1, "x")).message == "is larger than 1024 KiB"


def test_thirty_two_levels_are_read():
    deep = "[" * 26 + "]" * 26  # plan, steps, step, with, argument: 5 levels, the innermost value is one more
    assert plan_of(with_steps(f"- call: a:b\n  with: {{x: {deep}}}")).steps[1].name == "call a:b"


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(PlanError, match=r"nowhere\.yaml:1:1: cannot be read: No such file or directory"):
        load_plan(tmp_path / "nowhere.yaml")


def test_a_folder_is_no_plan(tmp_path):
    with pytest.raises(PlanError, match="cannot be read: Is a directory"):
        load_plan(tmp_path)


def test_names_are_unique():
    problem = problem_of(with_steps("- read: temperature\n  name: a\n- read: humidity\n  name: a"))
    assert (problem.message, where(problem)) == ("two steps are named 'a' (first in line 6)", "plan.yaml:9:11")


def test_steps_without_a_name_are_counted():
    plan = plan_of(with_steps("- read: temperature\n- read: temperature\n- read: temperature"))
    assert [step.name for step in plan.steps] == [
        "connect", "read temperature", "read temperature (2)", "read temperature (3)",
    ]  # fmt: skip


def test_the_hash_covers_the_plan_and_what_it_includes():
    text, part = with_steps("- use: part.yaml"), "steps: [{read: temperature}]"
    assert plan_of(text, part=part).hash == hashlib.sha256((text + part).encode()).hexdigest()
    assert plan_of(text, part=part + "\n").hash != plan_of(text, part=part).hash


def test_shipped_plans_are_good():
    for path in (Path(__file__).parents[2] / "testplans").glob("*.yaml"):
        assert load_plan(path).steps


# --- the link


def test_a_read_before_any_connection():
    problem = problem_of(f"{HEAD}steps:\n  - read: temperature\n  - connect:\n")
    assert problem.message == "'read temperature' needs a connection, but no connect step comes before it"
    assert (where(problem), problem.advice) == ("plan.yaml:5:5", "add - connect: before it")


def test_a_read_after_the_disconnection():
    problem = problem_of(with_steps("- disconnect:\n  name: bye\n- read: temperature"))
    assert problem.message == "'read temperature' needs a connection, but the link was ended by 'bye'"


def test_one_missing_connection_is_one_problem():
    assert len(problems_of(f"{HEAD}steps:\n  - read: temperature\n  - read: humidity\n")) == 1


def test_a_second_disconnection():
    assert "the link was ended" in problem_of(with_steps("- disconnect:\n- disconnect:")).message


@pytest.mark.parametrize("step", ["scan:", "wait: 1 s", "ask: Is it on?", "command: ['true']", "call: a:b"])
def test_what_needs_no_connection(step):
    assert plan_of(f"{HEAD}steps:\n  - {step}\n")


def test_finally_steps_may_read_whatever_happened():
    assert (
        plan_of(with_steps("- disconnect:") + "finally:\n  - connect:\n  - read: temperature\n").steps[-1].section
        == "finally"
    )


NAMES = "plan: names\ncaution: Mind the relay.\ndevice:\n  select: {name: a}\n  attributes:\n    own: {uuid: 0xFFF1, as: uint8}\n"


@pytest.mark.parametrize("steps", ["", "steps: []\n", "steps:\n  - scan:\n"])
def test_for_its_names_a_plan_needs_no_steps(steps: str, tmp_path: Path) -> None:
    (tmp_path / "names.yaml").write_text(NAMES + steps, encoding="utf-8")
    plan = load_names(tmp_path / "names.yaml")
    assert ([*plan.names.aliases], plan.selection().name, plan.caution) == (["own"], "a", "Mind the relay.")


@pytest.mark.parametrize(("steps", "said"), [("", "steps"), ("steps: []\n", "the plan has no steps")])
def test_a_plan_that_is_run_has_steps(steps: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "names.yaml").write_text(NAMES + steps, encoding="utf-8")
    with pytest.raises(PlanError, match=said):
        load_plan(tmp_path / "names.yaml")


def test_what_a_plan_of_names_has_must_be_right(tmp_path: Path) -> None:
    (tmp_path / "names.yaml").write_text(NAMES + "steps:\n  - read: nothing\n", encoding="utf-8")
    with pytest.raises(PlanError, match="unknown attribute 'nothing'"):
        load_names(tmp_path / "names.yaml")
