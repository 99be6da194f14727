"""One plan, three radios, the same verdicts, causes and roots."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.contract.cases import ALL, Case
from tests.contract.radios import DEVICES, alone, run_on
from tests.contract.secure_cases import EVERYWHERE


@pytest.mark.parametrize("case", [*ALL, *EVERYWHERE], ids=str)
def test_a_plan_ends_alike_on_every_radio(case: Case, radio: str, tmp_path: Path) -> None:
    check_ends(case, radio, tmp_path)


def check_ends(case: Case, radio: str, tmp_path: Path) -> None:
    if radio == f"virtual:{DEVICES}":
        radio = f"virtual:{alone(case.unit, tmp_path)}"  # the others are in the other airs
    ran = run_on(radio, case.plan, tmp_path)
    assert ran.ends() == case.ends, ran.story()
    assert ran.ended.exit_code == case.exit_code, ran.story()
    assert re.search(case.says, ran.ended.message), ran.story()
