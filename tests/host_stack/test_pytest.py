"""Plans as items of pytest, on the real Linux stack."""

from __future__ import annotations

from pathlib import Path

import pytest
from junitparser import JUnitXml

from tests.host_stack.conftest import Shell
from tests.pytesting.conftest import PLUGIN, PROJECT

pytestmark = [pytest.mark.slow, pytest.mark.timeout(300)]
# every import takes its time there
WORDS = " ".join(f"-p {name}" for name in [*PLUGIN, "no:cacheprovider", "no:hypothesispytest", "no:xdist"])


def test_five_steps_of_a_plan(shell: Shell, tmp_path: Path) -> None:
    """The sound probe passes; the one with a flat battery fails where it has to."""
    pytest_ = f"python3 -m pytest {WORDS} {PROJECT}/plans/smoke.yaml --benchrig-radio host --benchrig-results results"
    [good] = shell(f"{pytest_} --junitxml=good.xml", devices=[PROJECT / "devices/probe.yaml"])
    assert good.code == 0, good.out + good.err
    assert "5 passed" in good.out
    assert "SIMULATED" not in good.out
    [suite] = JUnitXml.fromfile(str(tmp_path / "good.xml"))
    assert (suite.tests, len([*suite])) == (5, 5)
    [bad] = shell(pytest_, devices=[PROJECT / "devices/weak_probe.yaml"])
    assert bad.code == 1
    assert "step 5 read battery level: fail (limit)" in bad.out
    assert "value: 4 % is below the minimum 20 % by 16 %" in bad.out
    assert "1 failed, 4 passed" in bad.out
    assert len([*tmp_path.glob("results/*/junit.xml")]) == 2
