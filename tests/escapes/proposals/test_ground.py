"""Plans that cannot be changed say so before anything is tried."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.escapes.proposals.ground import Ground
from benchrig.plan.editing import Unfit
from benchrig.plan.loader import load_plan
from benchrig.plan.writing import StepText
from benchrig.run.unattended import Unattended
from tests.escapes.kit import STEPS, sound, written

HEAD = "plan: p\ndevice: {select: {name: unit 1}}\n"
SHARED = f"steps:\n  - connect:\n{STEPS}"


def ground_of(folder: Path, text: str) -> Ground:
    path = written(folder)
    (folder / "shared.yaml").write_text(SHARED, encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    return Ground(load_plan(path, {}), text, sound(folder), Unattended())


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"{HEAD}steps: [{{connect: }}, {{read: temperature}}]\n", "has its steps within brackets"),
        (f"{HEAD}steps:\n  - use: shared.yaml\n", "come with 'use'"),
    ],
)
def test_a_plan_without_a_place_for_a_change_is_refused(text: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(Unfit, match=said) as refused:
        ground_of(tmp_path, text).check_written()
    assert refused.value.advice


def test_one_with_a_step_of_its_own_is_not(tmp_path: Path) -> None:
    ground = ground_of(tmp_path, f"{HEAD}steps:\n  - use: shared.yaml\n  - read: humidity\n")
    ground.check_written()
    assert ground.end is None, "the link is made in what it uses"


def test_a_step_that_is_there_is_known_whatever_it_is_called(tmp_path: Path) -> None:
    ground = ground_of(tmp_path, f"{HEAD}steps:\n  - connect:\n  - read: humidity\n    name: how wet\n")
    assert ground.has(StepText("read", "humidity"))
    assert not ground.has(StepText("read", "temperature"))
