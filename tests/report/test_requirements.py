"""What a run comes to for each requirement: nothing is proven that was not done, or not judged."""

from __future__ import annotations

import io
import textwrap
from typing import Any

import msgspec
import pytest
from rich.console import Console

from benchrig.report.files.junit import junit_xml
from benchrig.report.requirements import proofs
from benchrig.report.table import render
from tests.run.kit import device_text, plan_text, run

UNIT = device_text(
    "services: [{service: battery, characteristics: [{characteristic: battery level, properties: [read], value: 9 %}]}]"
)
HEAD = "requirements: {R-1: It is charged}\n"
GOOD, BAD, NONE = "expect: {value: {max: 50 %}}", "expect: {value: {min: 50 %}}", "on_fail: stop"


def read(limit: str, name: str = "a", more: str = "proves: R-1") -> str:
    return f"  - read: battery level\n    name: {name}\n    {more}\n    {limit}\n"


def indented(steps: str) -> str:
    """The steps as those in another step."""
    return textwrap.indent(steps, "    ")


def came_to(steps: str, head: str = HEAD, **more: Any) -> tuple[str, str]:
    [proof] = proofs(run(plan_text(steps, head=head), UNIT, **more).record)
    return proof.came_to, proof.why


@pytest.mark.parametrize(
    ("steps", "came", "why"),
    [
        (read(GOOD), "passed", "proven by step 3"),
        (read(GOOD) + read(GOOD, "b"), "passed", "proven by steps 3-4"),
        (read(GOOD) + read(BAD, "b"), "failed", "step 4 failed"),
        (read(GOOD) + read(NONE, "b"), "passed", "proven by steps 3-4"),
        (read(NONE), "not proven", "no limit of step 3 was judged"),
        (read(GOOD, more="save: {value: x}") + read(GOOD, "b", "proves: R-1\n    only_if: {x: {min: 50 %}}"), "not proven", "step 4 left out"),
        (read(GOOD, more="proves: R-1\n    save: {value: x}") + read(GOOD, "b", "proves: R-1\n    only_if: {x: {min: 50 %}}"), "passed", "proven by step 3, step 4 left out"),
        (read(BAD, more="name: x").replace("    name: a\n", "") + read(GOOD, "b", "proves: R-1\n    only_after: x"), "not proven", "step 4 skipped"),
        ("  - group: g\n    proves: R-1\n    steps:\n" + indented(read(GOOD, more="attempts: 2")), "passed", "proven by step 3"),
        ("  - wait: 1 s\n    expect: {elapsed: {max: 2 s}}\n", "not proven", "no step proves it"),
    ],
)  # fmt: skip
def test_each_way_in_which_it_comes_out(steps: str, came: str, why: str) -> None:
    assert came_to(steps) == (came, why)


def test_a_part_of_a_plan_proves_nothing_whose_other_steps_are_left_out() -> None:
    steps = read(GOOD) + read(GOOD, "b")
    record = run(plan_text(steps, head=HEAD), UNIT).record
    less = msgspec.structs.replace(record.run, nodes=record.run.nodes[:-1])
    part = msgspec.structs.replace(record, run=less, nodes=record.nodes[:-1])
    [proof] = proofs(part)
    assert (proof.came_to, proof.why) == ("not proven", "step 4 not in this run")


def test_the_rounds_of_a_repetition_count_together() -> None:
    inner = indented(read(GOOD))
    assert came_to(f"  - repeat: 3\n    name: r\n    steps:\n{inner}") == ("passed", "proven by step 3.1")
    failing = inner.replace(GOOD, BAD)
    tolerant = f"  - repeat: 3\n    name: r\n    expect: {{failed: {{max: 3}}}}\n    steps:\n{failing}"
    assert came_to(tolerant) == ("failed", "step 3.1 failed"), "what a limit tolerates is no proof"


TWO = "expect: {elapsed: {max: 1 s}, value: {max: 50 %}}"
FOR_SOME = "expect: {elapsed: {max: 1 s}, value: {min: 50 %, only_if: {market: {equals: de}}}}"
MARKET = f"{HEAD}given: {{market: {{one_of: [de, us], default: us}}}}\n"


@pytest.mark.parametrize(
    ("steps", "step"),
    [
        (read(TWO), "3"),
        (read("expect: {elapsed: {max: 1 s}}", "b") + read(GOOD), "4"),
        (f"  - repeat: 3\n    name: r\n    steps:\n{indented(read(TWO))}", "3.1"),
        (f"  - group: g\n    proves: R-1\n    steps:\n{indented(read(TWO, more='attempts: 2'))}", "3.1"),
    ],
)
def test_a_limit_that_was_not_judged_proves_nothing(steps: str, step: str) -> None:
    more = {"lacks": {"read.value": "this radio is deaf"}, "may_lack": ["read.value"]}
    assert came_to(steps, **more) == ("not proven", f"the limit on value of step {step} was not judged")
    assert came_to(steps)[0] == "passed"


@pytest.mark.parametrize(
    ("steps", "left"),
    [
        (read(FOR_SOME), "the limit on value of step 3"),
        (f"  - repeat: 3\n    name: r\n    steps:\n{indented(read(FOR_SOME))}", "the limit on value of step 3.1"),
        ("  - group: g\n    proves: R-1\n    steps:\n"
         + indented(read(BAD, more="only_if: {market: {equals: de}}") + read(GOOD, "b", "attempts: 2")), "step 3.1"),
    ],
)  # fmt: skip
def test_what_a_condition_left_out_is_told(steps: str, left: str) -> None:
    came, why = came_to(steps, head=MARKET)
    assert (came, why.partition(", ")[2]) == ("passed", f"{left} left out")


def test_where_a_reader_looks_for_it() -> None:
    record = run(plan_text(read(GOOD), head=HEAD), UNIT).record
    page = io.StringIO()
    render(record, Console(file=page, width=100))
    assert "R-1: proven by step 3: passed\n  It is charged" in page.getvalue()
    xml = junit_xml(record).decode()
    assert 'name="a:proves" value="R-1"' in xml
    assert 'name="requirement:R-1" value="passed: proven by step 3: It is charged"' in xml
