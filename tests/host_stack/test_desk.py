"""Commands of benchrig on the real Linux stack."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.host_stack.conftest import Shell
from tests.run.kit import DEVICES, PLANS

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
LOGGER = DEVICES / "logger.yaml"


def test_a_plan_and_a_plan_that_is_not_there(shell: Shell, tmp_path: Path) -> None:
    smoke, missing = shell(
        f"benchrig run {PLANS}/smoke.yaml --radio host --results results",
        "benchrig run missing.yaml --radio host",
        devices=[LOGGER],
    )
    assert (smoke.code, smoke.err) == (0, "")
    assert "PASS: the unit passed" in smoke.out
    assert list(tmp_path.glob("results/*/junit.xml"))
    assert missing.code == 4
    assert "missing.yaml" in missing.err
