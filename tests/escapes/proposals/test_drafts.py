"""Devices of different kinds: a drafted plan catches nearly all of their faults once its proposals are taken.

A sample of the faults of each: all of them take minutes (`python -m tests.escapes.proposals.drafts`).
"""

from __future__ import annotations

from fnmatch import fnmatch
from pathlib import Path

import pytest

from tests.escapes.proposals.drafts import figures

# Of so many faults one is tried.
EVERY = {"logger": 12, "transport box": 12, "sensor": 6, "heart": 4, "thermometer": 4, "shelf": 4}
# What a good unit on rough air does now and then: one request for a connection is lost; nothing tells a value that is
# sent twice from two that are alike.
LEFT = ("link: needs two attempts", "link: second one refused", "*: a value doubled")


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", EVERY)
def test_a_draft_catches_nearly_all_once_its_proposals_are_taken(name: str, tmp_path: Path) -> None:
    found = figures(name, tmp_path, every=EVERY[name])
    assert found.after > found.before
    assert [each for each in found.left if not any(fnmatch(each, known) for known in LEFT)] == []
