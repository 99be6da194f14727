"""The plans of the logger let no faulty unit pass but those that their reviewed files argue for."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.escapes.broken import Broken, broken
from tests.escapes.shipped import hunt, outcomes, sample, wrong
from tests.run.kit import PLANS, run

# one of each family, such as a unit can have on its own
AT_THE_LINE = (
    "temperature: stuck",
    "table: extra factory service",
    "advertising: 20 dB too weak",
    "battery level: never sent",
    "alarm limit: write refused",
    "command: answers late",
    "link: ends after 3 s",
    "bench: wrong unit in the fixture",
)


@pytest.mark.slow
def test_a_fault_of_each_family_is_caught_at_the_line() -> None:
    assert {*outcomes(hunt("logger", "end_of_line", *AT_THE_LINE), "caught")} == {*AT_THE_LINE}


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_no_fault_of_a_sample_escapes(tmp_path: Path) -> None:
    """Neither plan; what the line leaves to the nightly is tried there once. All: `python -m tests.escapes.shipped`."""
    faults = [*sample("logger", 5), "restart: everything lost"]
    nightly, line = (
        hunt("logger", name, *dict.fromkeys(faults), kept=tmp_path) for name in ("nightly_regression", "end_of_line")
    )
    for made in (nightly, line):
        assert len(made.results) >= 100
        assert wrong(made, whole=False) == []
        assert len(outcomes(made, "argued")) <= 9
    assert "restart: everything lost" in outcomes(line, "left")


@pytest.mark.slow
def test_units_that_were_broken_by_hand_are_caught() -> None:
    """By people who had not seen the model of faults."""
    passed = [
        unit.fault
        for unit in broken("logger")
        if all(_passes(name, unit) for name in ("end_of_line", "nightly_regression"))
    ]
    assert passed == []


def _passes(name: str, unit: Broken) -> bool:
    return run(PLANS / f"{name}.yaml", unit.text, seed=0).ended.verdict == "pass"
