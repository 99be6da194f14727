"""One run of a plan in a scene: in memory, attended by nobody; the same seed gives the same record."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from secrets import token_hex
from shutil import rmtree
from tempfile import gettempdir
from typing import TYPE_CHECKING

from benchrig.errors import InternalError
from benchrig.faults.fault import Scene
from benchrig.loop import attended_loop, in_loop
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.radio.specify import open_simulated
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.record.aggregate import build_record
from benchrig.record.model import AnyEvent, Record
from benchrig.run.choose import choose_steps
from benchrig.run.head import RunSettings
from benchrig.run.runner import Runner
from benchrig.run.station import Station
from benchrig.steps.bench import Operator

if TYPE_CHECKING:
    from benchrig.radio.radio import Radio


def trial(
    plan: Plan,
    scene: Scene,
    operator: Operator,
    *,
    seed: int = 0,
    nodes: Sequence[StepPlan] | None = None,
    capture: Path | None = None,
    heard: Callable[[AnyEvent], None] = lambda event: None,
    enough: Callable[[AnyEvent], bool] = lambda event: False,
) -> Record:
    """The record of the run. A caution of the plan counts as acknowledged: nothing but the simulated devices moves.
    Secret values are left out as in every record. Files that the run leaves are gone with it, the `capture` is not. The first event that is `enough` interrupts the run."""

    async def opened() -> Radio:
        faults = scene.faults() if scene.faults else None
        radio = await open_simulated(scene.devices, seed=seed, faults=faults, air=scene.air, capture=capture)
        for each in scene.befalls:
            each(radio)
        return radio

    events: list[AnyEvent] = []
    interrupts: list[Callable[[], None]] = []
    secrets = plan.secrets()

    def emit(event: AnyEvent) -> None:
        event = secrets.masked(event) if secrets else event
        events.append(event)
        heard(event)
        if interrupts and enough(event):
            interrupts.pop()()

    async def run() -> None:
        with attended_loop(runner.interrupt, lambda error: runner.blame(InternalError(error))):
            await runner.run()

    with _folder() as folder:
        settings = RunSettings(Station("virtual"), "virtual", True, folder, seed, acknowledged=True)
        runner = Runner(plan, nodes or choose_steps(plan), settings, opened, operator, emit)
        runner.keep_secret = secrets.learn if secrets else runner.keep_secret
        interrupts.append(runner.interrupt)
        in_loop(run(), VirtualLoop)
    return build_record(events)


@contextmanager
def _folder() -> Iterator[Path]:
    """For the files of a run, which makes it when it has one: most have none."""
    folder = Path(gettempdir()) / f"benchrig-{token_hex(16)}"
    try:
        yield folder
    finally:
        if folder.exists():
            rmtree(folder, ignore_errors=True)
