"""By the plan and the limits of the run every judgement, verdict, cause, message and exit code is what it was."""

from __future__ import annotations

import pytest

from tests.rejudge.kit import again
from tests.rejudge.sweep import check, faulty, sound
from tests.run.faults import FAULTS
from tests.run.kit import DEVICES, PLANS, SHIPPED, Ran, pieces, run
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
    sound(name, range(10, 20))
    faulty(name, 10, 1)


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
