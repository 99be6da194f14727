"""Words by which a plan is selected."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchrig.errors import PlanError
from benchrig.plan.loader import load_plan

TEXT = "plan: a plan\nmarkers: {}\ndevice: {{select: {{name: unit}}}}\nsteps:\n  - scan:\n"


def test_they_are_words(tmp_path: Path) -> None:
    assert load_plan(tmp_path / "plan.yaml", text=TEXT.format("[smoke, _nightly2]")).markers == ("smoke", "_nightly2")


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("[two words]", "expected a word of letters, digits and _"),
        ("[smoke, 2fast]", "expected a word of letters, digits and _"),
        ("[7]", "expected a word of letters, digits and _"),
        ("[smoke, smoke]", "the marker 'smoke' is there twice"),
        ("[skip]", "pytest takes the marker 'skip' for more than a name"),
        ("smoke", "plan.yaml:2:10"),
    ],
)
def test_what_is_none(tmp_path: Path, written: str, said: str) -> None:
    with pytest.raises(PlanError) as raised:
        load_plan(tmp_path / "plan.yaml", text=TEXT.format(written))
    assert said in str(raised.value)
