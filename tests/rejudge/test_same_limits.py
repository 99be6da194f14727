"""By the plan and the limits of the run every judgement, verdict, cause, message and exit code is what it was."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from benchrig.plan.loader import load_plan
from benchrig.record.model import Record
from benchrig.testing import faults_of, run_plan
from tests.rejudge.kit import again
from tests.run.faults import FAULTS
from tests.run.kit import DEVICES, PLANS, SHIPPED, Ran, pieces, run
from tests.run.random_trees import tree_of
from tests.run.test_causes import ROWS
from tests.run.test_random_trees import ran as run_of_tree

AIRS = ("kind", "rough")


def check(record: Record, plan: Path) -> None:
    found = again(record, plan)
    assert found.as_run
    assert found.altered == []
    assert found.unknown == []
    assert found.ended == record.ended
    judged = sum(reading.judgement is not None for each in record.executions for reading in each.readings)
    held = sum(each.after is not None for done in found.done for each in done.held)
    assert held == judged > 0


def sound(name: str, seeds: range) -> None:
    plan, device = PLANS / f"{name}.yaml", DEVICES / f"{SHIPPED[name]}.yaml"
    for seed in seeds:
        check(run(plan, device, air=AIRS[seed % 2], seed=seed).record, plan)


def faulty(name: str, count: int, seed: int) -> None:
    """On devices with faults drawn from all that there are."""
    plan, device, chance = PLANS / f"{name}.yaml", DEVICES / f"{SHIPPED[name]}.yaml", random.Random(f"{name} {seed}")
    verdicts = set()
    for fault in chance.sample(faults_of(device, plan=load_plan(plan, {})), count):
        ran = run_plan(plan, device, fault=fault, air=chance.choice(AIRS), seed=chance.randrange(1000))
        verdicts.add(ran.ended.verdict)
        check_any(ran.record, plan)
    assert "fail" in verdicts


def check_any(record: Record, plan: Path) -> None:
    """Also of a run that judged nothing."""
    found = again(record, plan)
    assert (found.altered, found.unknown, found.ended) == ([], [], record.ended)


@pytest.mark.parametrize("name", ["smoke", "twelve_checks", "box_end_of_line"])
def test_sound_units_come_to_what_they_came_to(name: str) -> None:
    sound(name, range(1, 3))


def test_faulty_units_come_to_what_they_came_to() -> None:
    faulty("twelve_checks", 12, 1)


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("piece", range(10))
@pytest.mark.parametrize("name", SHIPPED)
def test_sound_units_of_every_plan(name: str, piece: int) -> None:
    sound(name, range(20 * piece, 20 * piece + 20))


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("piece", range(4))
@pytest.mark.parametrize("name", SHIPPED)
def test_faulty_units_of_every_plan(name: str, piece: int) -> None:
    faulty(name, 50, piece)


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
