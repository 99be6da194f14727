"""Devices of three kinds: a drafted plan catches nearly all of their faults once its proposals are taken.

A sample of the faults of each: all of them take minutes (`python -m tests.escapes.proposals.drafts`).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.escapes.proposals.drafts import figures

# Of so many faults one is tried, and this share has to be caught. What is left is one value of
# many that is lost or late, in a stream that has no counter.
DEVICES = {
    "heart": (2, 0.98), "thermometer": (2, 0.98), "brine": (2, 0.98),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", DEVICES)
def test_a_draft_catches_nearly_all_once_its_proposals_are_taken(name: str, tmp_path: Path) -> None:
    every, least = DEVICES[name]
    found = figures(name, tmp_path, every=every)
    assert found.after > found.before
    assert found.after >= least, found.left
