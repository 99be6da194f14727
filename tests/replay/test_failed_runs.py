"""The twin of each failed run of the table of causes fails in the same step, for the same reason.

Rows of causes that no unit can be to blame for have no twin: station, plan, operator, internal, and those of limits whose
steps need no unit at all.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.replay.kit import Failed, failed, without_numbers
from tests.run.faults import FAULTS
from tests.run.test_causes import ROWS

WITHOUT_A_UNIT = {
    "the operator's no",
    "an exit code outside its limit",
    "an output outside its limit",
    "a function that returns a value outside its limit",
    "a function that returns none for a limited value",
    "a failed assert of a function",
    "a StepFailed of a function",
}
OF_UNITS = [name for name in FAULTS if ROWS[name]["cause"].strip("`") in ("limit", "device", "link")]
TWINNED = [name for name in OF_UNITS if name not in WITHOUT_A_UNIT]
QUICK = [name if at % 3 == 0 else pytest.param(name, marks=pytest.mark.slow) for at, name in enumerate(TWINNED)]


def run_of(name: str, folder: Path, air: str | None = None) -> Failed:
    fault = FAULTS[name]()
    return failed(folder, fault.plan, *fault.devices, air=air, **fault.more)


def check(name: str, made: Failed, *, capture: bool, air: str | None = None) -> None:
    twin = made.twin(capture=capture)
    compared = made.again(twin, **({"air": air} if air else {}))
    assert compared.alike, f"{compared.differences}\n{compared.twin.text}\n{twin.text}"
    assert without_numbers(compared.twin.message) == without_numbers(compared.unit.message)


def test_only_runs_without_a_unit_are_left_out() -> None:
    assert {*OF_UNITS} >= WITHOUT_A_UNIT
    assert not any(FAULTS[name]().devices for name in WITHOUT_A_UNIT)
    assert len(TWINNED) >= 57


@pytest.mark.parametrize("name", QUICK)
def test_the_twin_fails_as_the_unit_did(name: str, tmp_path: Path) -> None:
    made = run_of(name, tmp_path)
    check(name, made, capture=True)
    check(name, made, capture=False)


@pytest.mark.slow
@pytest.mark.parametrize("name", TWINNED)
def test_runs_on_a_rough_air(name: str, tmp_path: Path) -> None:
    made = run_of(name, tmp_path, air="rough")
    check(name, made, capture=TWINNED.index(name) % 2 == 0)


@pytest.mark.slow
@pytest.mark.parametrize("name", TWINNED[::2])
def test_twins_on_a_rough_air(name: str, tmp_path: Path) -> None:
    made = run_of(name, tmp_path)
    check(name, made, capture=True, air="rough")
