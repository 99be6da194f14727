"""By the plan and the limits of the run every judgement, verdict, cause, message and exit code is what it was."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.rejudge.kit import UNIT, again
from tests.rejudge.sweep import check, faulty, sound
from tests.run.faults import FAULTS
from tests.run.kit import DEVICES, PLANS, SHIPPED, Ran, device_text, pieces, plan_text, run
from tests.run.random_trees import tree_of
from tests.run.test_causes import ROWS
from tests.run.test_random_trees import ran as run_of_tree


@pytest.mark.parametrize("name", ["smoke", "twelve_checks", "box_end_of_line"])
def test_sound_units_come_to_what_they_came_to(name: str) -> None:
    sound(name, range(1, 3))


def test_faulty_units_come_to_what_they_came_to() -> None:
    faulty("twelve_checks", 12, 1)


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", SHIPPED)
def test_sound_and_faulty_units_of_every_plan(name: str) -> None:
    """A part of `tests/rejudge/sweep.py`."""
    sound(name, range(10, 13))
    faulty(name, 5, 1)


def same(ran: Ran, plan: str) -> None:
    found = again(ran.record, plan)
    assert (found.altered, found.unknown, found.ended) == ([], [], ran.ended)


@pytest.mark.parametrize("piece", pieces(30, 3))
def test_any_nesting_with_failures_and_interruptions(piece: int) -> None:
    for seed in range(20 * piece, 20 * piece + (20 if piece != 3 else 8)):
        tree = tree_of(seed)
        same(run_of_tree(tree), tree.plan)


# Mistakes of a plan that are known before a run, and what needs files beside it.
RUN = [name for name in FAULTS if ROWS[name]["cause"].strip("`") in ("limit", "device", "link", "station", "operator")]


@pytest.mark.parametrize("part", pieces(8, 2))
def test_every_cause_of_the_reference(part: int) -> None:
    for name in RUN[part::8]:
        fault = FAULTS[name]()
        if not fault.files:
            same(run(fault.plan, *fault.devices, **fault.more), fault.plan)


@pytest.mark.parametrize("name", ["returned_unit", "returned_box"])
def test_units_that_are_broken_in_many_ways(name: str) -> None:
    device = {"returned_unit": "returned_logger", "returned_box": "returned_transport_box"}[name]
    plan = PLANS / f"{name}.yaml"
    ran = run(plan, DEVICES / f"{device}.yaml", air="rough")
    assert ran.ended.verdict == "fail"
    check(ran.record, plan)


FUNCTIONS = """\
def octets(bench): return b"\\x01\\x02"
def text(bench): return "0102"
def none(bench): return float("nan")
"""


@pytest.mark.parametrize(
    ("function", "limit"),
    [("octets", "{equals: '01 02'}"), ("text", "{equals: '0102'}"), ("none", "{max: 22}"), ("text", "{contains: '01'}"), ("octets", "{contains: '01'}")],
)  # fmt: skip
def test_values_of_functions_are_what_they_were(tmp_path: Path, function: str, limit: str) -> None:
    (tmp_path / "kinds.py").write_text(FUNCTIONS)
    plan = tmp_path / "plan.yaml"
    plan.write_text(plan_text(f"  - call: kinds:{function}\n    expect: {{value: {limit}}}\n"))
    ran = run(plan, UNIT)
    assert ran.ended.verdict == ("fail" if function == "none" else "pass")
    check(ran.record, plan)


def test_what_a_console_printed_is_saved_as_what_a_later_step_needs(tmp_path: Path) -> None:
    wait = "  - console:\n    until: {line: {matches: '%s=(?P<number>\\d+)'}}\n    within: 5 s\n"
    later = wait % "limit" + "    expect: {number: {equals: '${seen}'}}\n"
    plan = tmp_path / "plan.yaml"
    plan.write_text(plan_text(wait % "ready" + "    save: {number: seen}\n" + later))
    ran = run(plan, device_text(more="on_start: [{delay: 2 s, print: ready=3012}, {delay: 3 s, print: limit=3012}]"))
    assert ran.ended.verdict == "pass", ran.ended.message
    check(ran.record, plan)


def test_a_limit_that_a_condition_leaves_out_excuses_no_failure(tmp_path: Path) -> None:
    rounds = "  - repeat: 2\n    steps:\n      - read: battery level\n        expect: {value: {max: 10 %}}\n"
    only = "    expect: {failed: {max: 2, only_if: {market: {equals: de}}}}\n"
    plan = tmp_path / "plan.yaml"
    plan.write_text(plan_text(rounds + only, head="given: {market: {one_of: [de, us], default: us}}\n"))
    ran = run(plan, UNIT)
    assert ran.ended.verdict == "fail"
    check(ran.record, plan)
