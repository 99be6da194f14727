"""Who is to blame for what: the table of the reference, run row by row."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.run.outcome import Exit
from tests.reference import SECTIONS
from tests.run.faults import FAULTS
from tests.run.kit import run

ROWS = {row["fault"]: row for row in SECTIONS["Faults and their causes"].table("fault")}


def ended(name: str, folder: Path) -> tuple[str | None, int]:
    """The cause and the exit code of the run with this fault, or of its plan that cannot be run."""
    fault = FAULTS[name]()
    for file, text in fault.files.items():
        (folder / file).write_text(text, encoding="utf-8")
    plan = folder / "plan.yaml"
    plan.write_text(fault.plan, encoding="utf-8")
    try:
        ran = run(plan, *fault.devices, **fault.more)
    except PlanError as error:
        if any(problem.place.source.name != str(plan) for problem in error.problems):
            raise  # not the plan's mistake
        return error.cause, Exit.PLAN
    assert ran.stray == []
    return ran.ended.cause, ran.ended.exit_code


def test_every_fault_is_in_the_reference() -> None:
    assert not (missing := FAULTS.keys() - ROWS.keys()), f"add a row to results.md: {missing}"
    assert not (missing := ROWS.keys() - FAULTS.keys()), f"add to FAULTS of tests/run/faults.py: {missing}"
    assert len(ROWS) >= 60


@pytest.mark.parametrize("name", FAULTS)
def test_the_cause_of_a_fault(name: str, tmp_path: Path) -> None:
    row = ROWS[name]
    assert ended(name, tmp_path) == (row["cause"].strip("`"), int(row["exit code"]))
