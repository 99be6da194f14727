"""The plans of the transport box let no faulty unit pass but those that their reviewed files argue for."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.escapes.shipped import hunt, outcomes, sample, wrong

# such as a unit can have on its own
AT_THE_LINE = (
    "advertising: 10 dB too weak",
    "temperature: stuck",
    "battery level: too low",
    "model number: of a variant",
    "serial number: of a neighbour",
    "settings: missing",
    "control 01 48 21: state.lock never comes to its end",
    "table: extra factory service",
    "control 07, later: does not sleep",
)


@pytest.mark.slow
def test_what_a_unit_can_have_on_its_own_is_caught_at_the_line() -> None:
    assert {*outcomes(hunt("transport_box", "box_end_of_line", *AT_THE_LINE), "caught")} == {*AT_THE_LINE}


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_no_fault_of_a_sample_escapes(tmp_path: Path) -> None:
    """Neither plan; what the line leaves to the nightly is tried there once. All: `python -m tests.escapes.shipped`."""
    faults = sample("transport_box", 10)
    for name in ("box_nightly", "box_end_of_line"):
        made = hunt("transport_box", name, *faults, kept=tmp_path)
        assert len(made.results) >= 60
        assert wrong(made, whole=False) == []
        assert len(outcomes(made, "argued")) <= 6
