"""Plans in pytest on a radio that takes its own time."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.contract.radios import air_on_tcp

pytestmark = pytest.mark.slow


@pytest.fixture(autouse=True)
def tests_at_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    """The air is a program of these tests, and starts in the folder of the project."""
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))


def test_on_a_controller_behind_tcp(project: Path, start) -> None:
    with air_on_tcp(project / "devices/probe.yaml") as radio:
        session = start("plans/smoke.yaml", "plans/board.yaml", "--benchrig-radio", radio, "--junitxml=report.xml")
    assert session.counts() == {"passed": 7}, session.text
    assert "SIMULATED" not in session.text
    assert f"benchrig: radio {radio}" in session.text


def test_a_bad_unit_behind_tcp(project: Path, start) -> None:
    with air_on_tcp(project / "devices/weak_probe.yaml") as radio:
        session = start("plans/smoke.yaml", "--benchrig-radio", radio)
    assert session.came.pop("Smoke test::read battery level") == "failed"
    assert session.counts() == {"passed": 4}, session.text
    assert "SIMULATED" not in session.text
