"""One run of a plan in a scene: in memory, attended by nobody; the same seed gives the same record."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from secrets import token_hex
from shutil import rmtree
from tempfile import gettempdir

from benchrig.errors import InternalError
from benchrig.escapes.simulated import simulated_runner
from benchrig.faults.fault import Scene
from benchrig.loop import attended_loop, in_loop
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent
from benchrig.record.model import Record
from benchrig.run.choose import choose_steps
from benchrig.run.head import RunSettings
from benchrig.station.station import Station
from benchrig.steps.bench import Operator


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
    interrupts: list[Callable[[], None]] = []

    def hear(event: AnyEvent) -> None:
        heard(event)
        if interrupts and enough(event):
            interrupts.pop()()

    async def run() -> None:
        with attended_loop(runner.interrupt, lambda error: runner.blame(InternalError(error))):
            await runner.run()

    with _folder() as folder:
        settings = RunSettings(Station("virtual"), "virtual", True, folder, seed, acknowledged=True)
        nodes = nodes or choose_steps(plan)
        runner, events = simulated_runner(plan, nodes, scene, settings, operator, hear, capture=capture)
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
