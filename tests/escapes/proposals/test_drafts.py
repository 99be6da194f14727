"""Devices of different kinds: what a drafted plan catches, before and after its proposals are taken."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.cli.operator import Unattended
from benchrig.escapes.hunting import Hunt, Hunting
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.proposing import propose
from benchrig.escapes.results import PASSED
from benchrig.faults.fault import Scene
from benchrig.faults.registry import faults_of
from benchrig.plan.loader import load_plan
from tests.draft.devices import HEART, PRESENTED, SHELVES, THERMOMETER
from tests.draft.kit import drafted
from tests.radio.virtual.bench import models

# Of the faults of the unit, what has to be caught with the proposals; the rest is listed among them.
DRAFTS = {
    "heart": (HEART, 0.96), "thermometer": (THERMOMETER, 0.95), "brine": (PRESENTED, 0.94), "shelf": (SHELVES[0], 0.94),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", DRAFTS)
def test_a_draft_catches_nearly_all_once_its_proposals_are_taken(name: str, tmp_path: Path) -> None:
    device, least = DRAFTS[name]
    path = tmp_path / "plan.yaml"
    path.write_text(drafted(device).text, encoding="utf-8")
    plan, sound = load_plan(path, {}), Scene(tuple(models(device)))
    faults = [fault for fault in faults_of(sound) if fault.family != "bench"]
    results = Hunting(Hunt(plan, sound, Unattended()), faults).run()
    names = {each.fault.name for each in results if each.outcome in PASSED}
    made = propose(Ground(plan, path.read_text(), sound, Unattended(), {}, 2), [x for x in faults if x.name in names])
    before, after = (1 - len(missed) / len(faults) for missed in (names, [*made.left, *made.wrongly]))
    assert after > before
    assert after >= least, made.left
