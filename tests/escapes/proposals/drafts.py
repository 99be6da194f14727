"""What drafted plans catch of the faults of their devices, before and after their proposals are taken: whole figures.

python -m tests.escapes.proposals.drafts [DEVICE…]
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from benchrig.desk.desk import DeskOptions
from benchrig.desk.running import run_desk
from benchrig.draft.compose import compose
from benchrig.draft.from_devices import Collecting, collect
from benchrig.escapes.hunting import Hunt, Hunting
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.proposing import propose
from benchrig.escapes.results import PASSED
from benchrig.escapes.rules import equivalent
from benchrig.faults.fault import Scene
from benchrig.faults.registry import faults_of
from benchrig.plan.loader import load_plan
from benchrig.propose.proposal import Basis
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.device_spec import DeviceSpec, Simulated
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Problems
from benchrig.steps.attribute import Names
from benchrig.workers import cores
from tests.draft.devices import CLOCK, HEART, PRESENTED, SHELVES, THERMOMETER, TWINS
from tests.draft.kit import ANY
from tests.run.kit import DEVICES as SHIPPED

DEVICES: Mapping[str, str | Path] = {
    "logger": SHIPPED / "logger.yaml",
    "transport box": SHIPPED / "transport_box.yaml",
    "sensor": SHIPPED / "sensor.yaml",
    "heart": HEART,
    "thermometer": THERMOMETER,
    "shelf": SHELVES[0],
    "brine": PRESENTED,
    "clock": CLOCK,
    "twins": TWINS,
}


@dataclass(frozen=True)
class Figures:
    """Of the faults that a plan may notice: those that none can are left out. `text` is the plan with all that is proposed."""

    faults: int
    escaped: int
    left: list[str]
    seconds: float
    text: str

    @property
    def before(self) -> float:
        return 1 - self.escaped / self.faults

    @property
    def after(self) -> float:
        return 1 - len(self.left) / self.faults


def figures(name: str, folder: Path, *, every: int = 1, jobs: int = 1) -> Figures:
    """`every`: of so many faults one is tried."""
    started, path = time.perf_counter(), folder / "plan.yaml"
    devices = devices_of(DEVICES[name], folder)
    sound = Scene(devices)
    path.write_text(drafted_plan(sound), encoding="utf-8")
    plan = load_plan(path, {})
    faults = [fault for fault in faults_of(sound) if fault.family != "bench"][::every]
    faults = [fault for fault in faults if not equivalent(fault.scene(sound), sound)]
    results = Hunting(Hunt(plan, sound, Unattended(), jobs=jobs), faults).run()
    open_ = {each.fault.name for each in results if each.outcome in PASSED}
    wrong = [each.fault.name for each in results if each.outcome not in (*PASSED, "caught")]
    ground = Ground(plan, path.read_text("utf-8"), sound, Unattended(), {}, jobs, spread=spread_of(devices))
    made = propose(ground, [fault for fault in faults if fault.name in open_])
    with_all = load_plan(path, {}, text=made.text)
    Hunt(with_all, sound, Unattended(), seeds=(10,)).prove()
    caught = [fault for fault in faults if fault.name not in (*open_, *wrong)]
    again = Hunting(Hunt(with_all, sound, Unattended(), jobs=jobs), caught).run()
    hidden = [each.fault.name for each in again if each.outcome != "caught"]
    left = [*made.left, *made.wrongly, *wrong, *hidden]
    return Figures(len(faults), len(open_) + len(wrong), left, time.perf_counter() - started, made.text)


def devices_of(device: str | Path, folder: Path) -> tuple[Simulated, ...]:
    path, problems = folder / "device.yaml", Problems()
    if isinstance(device, str):
        path.write_text(device, encoding="utf-8")
    devices = load_devices([path if isinstance(device, str) else device], problems)
    problems.raise_if_any()
    return tuple(devices)


def spread_of(devices: Iterable[Simulated]) -> DeviceSpec:
    """With what the file says of how good units differ, which no scene keeps: each of them has to pass what is proposed."""
    return next(each for each in devices if isinstance(each, DeviceSpec))


def drafted_plan(sound: Scene) -> str:
    options = DeskOptions(RadioChoice("virtual", devices=sound.devices), ANY, Names())
    evidence = run_desk(options, lambda desk: collect(desk, Collecting()), lambda sentence: None)
    return compose(evidence, Names(), Basis()).text


def main(names: list[str]) -> None:
    print(f"{'device':14} faults  before   after  seconds on {cores()} cores", flush=True)
    for name in names or DEVICES:
        with TemporaryDirectory() as folder:
            found = figures(name, Path(folder), jobs=cores())
        print(f"{name:14} {found.faults:6} {found.before:7.1%} {found.after:7.1%} {found.seconds:8.0f}", flush=True)
        print("".join(f"  left: {each}\n" for each in found.left), end="", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
