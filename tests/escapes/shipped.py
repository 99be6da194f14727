"""Hunts with plans that ship.

python -m tests.escapes.shipped    with all faults of all three devices: a quarter of an hour on two cores
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from benchrig.escapes.launch import HuntOptions, hunted, sound_scene
from benchrig.escapes.results import Hunted
from benchrig.faults.registry import faults_of
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.unattended import Unattended
from tests.run.kit import DEVICES, PLANS

WHOLE = {
    "logger": ("nightly_regression", "end_of_line"),
    "transport_box": ("box_nightly", "box_end_of_line"),
    "secure_logger": ("secure_nightly", "secure_end_of_line"),
}


def hunt(device: str, name: str, *faults: str, kept: Path | None = None) -> Hunted:
    """Of all faults, if none is named. With a folder of kept results a fault that is left to a plan which has been hunted
    with is not tried on that a second time."""
    plan, radio = load_plan(PLANS / f"{name}.yaml", {}), radio_of(device)
    return hunted(HuntOptions(plan, radio, lambda path: load_plan(path, {}), names=faults, cache=kept), Unattended())


def radio_of(device: str) -> RadioChoice:
    return RadioChoice("virtual", files=(DEVICES / f"{device}.yaml",))


def sample(device: str, every: int, whole: str = "") -> list[str]:
    """The name of one fault of so many, and of all in the family that is taken whole."""
    faults = faults_of(sound_scene(radio_of(device)))
    return [each.name for number, each in enumerate(faults) if number % every == 0 or each.family == whole]


def outcomes(made: Hunted, *wanted: str) -> list[str]:
    return [each.fault.name for each in made.results if each.outcome in wanted]


def wrong(made: Hunted, *, whole: bool = True) -> list[str]:
    """What should not be in the results with a plan that ships. Of a sample nobody can say that an argument is stale."""
    escaped = outcomes(made, "escaped", "by luck", "blamed wrongly", "failed")
    return [*escaped, *(made.stale if whole else []), *made.notes]


def main() -> int:
    failed = False
    for device, names in WHOLE.items():
        with TemporaryDirectory() as kept:
            for name in names:
                made = hunt(device, name, kept=Path(kept))
                print(f"{device}, {name}: {len(made.results)} faults; wrong: {wrong(made) or 'none'}")
                failed = failed or bool(wrong(made))
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
