"""The plans of the secure logger let no faulty unit pass but those that their reviewed files argue for."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.escapes.shipped import hunt, sample, wrong

# no link with a short key and none with a key of legacy pairing is to be had, which both plans prove
HARMLESS = {"alarm limit: any size of the key", "owner: write_needs authenticated"}
pytestmark = [pytest.mark.slow, pytest.mark.timeout(1800)]


def test_no_fault_of_a_sample_escapes_and_each_of_security_is_caught(tmp_path: Path) -> None:
    """With neither plan; what the line leaves to the nightly is tried there once. All: `python -m tests.escapes.shipped`."""
    faults = sample("secure_logger", 10, whole="security")
    nightly, line = (
        hunt("secure_logger", name, *faults, kept=tmp_path) for name in ("secure_nightly", "secure_end_of_line")
    )
    for made in (nightly, line):
        assert len(made.results) >= 90
        assert wrong(made, whole=False) == []
    found = [each for each in line.results if each.fault.family == "security"]
    assert len(found) > 40
    assert {each.fault.name for each in found if each.outcome not in ("caught", "left")} == HARMLESS
