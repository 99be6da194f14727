"""A line on the stack of Linux: four units at once on an adapter for each slot, and on one adapter for all."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.host_stack.conftest import Boot
from tests.host_stack.line_cases import LAYOUTS, Case

pytestmark = [pytest.mark.slow, pytest.mark.timeout(600)]


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_unit_gets_its_own_word(boot: Boot, name: str) -> None:
    done = boot(f"python3 -m tests.host_stack.line_place out {name}\n", prelude=False, within=560)
    found = json.loads(done.text(f"{name}.json") or "{}")
    cases = [case for cases in LAYOUTS[name].rounds for case in cases]
    wrong = {case.name: found.get(case.name, "not done") for case in cases if not _is_right(case, found)}
    assert wrong == {}, done.text("job.err")[-2000:]
    assert found["exit code"] == 0


def _is_right(case: Case, found: dict[str, Any]) -> bool:
    if case.name not in found:
        return False
    if case.word == "refused":
        return found[case.name] is None
    told = found[case.name]
    came_to = (told["unit"], told["word"], told["cause"], told["again"])
    is_step = case.step is None or told["step"] == case.step
    return is_step and came_to == (case.label, case.word, case.cause, case.again) and _answered_itself(case, told)


def _answered_itself(case: Case, told: dict[str, Any]) -> bool:
    """Whoever was asked is what is in the slot: a verdict is that of nobody else."""
    inside = {f"M{unit.number}" for unit in case.inside}
    if case.word == "PASS":
        return set(told["marks"]) == inside
    return set(told["marks"]) <= inside


def test_there_are_cases_enough() -> None:
    names = [case.name for layout in LAYOUTS.values() for cases in layout.rounds for case in cases]
    assert len({*names}) == len(names) >= 20
