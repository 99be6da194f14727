"""A whole run on simulated devices, on a virtual clock of its own."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from benchrig.errors import UsageError
from benchrig.escapes.simulated import simulated_runner
from benchrig.faults.fault import Fault, Scene
from benchrig.loop import in_loop
from benchrig.plan.model import Plan
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.radio.virtual.faults import Faults
from benchrig.record.aggregate import build_record
from benchrig.record.events import AnyEvent
from benchrig.run.answers import Answers
from benchrig.run.choose import choose_steps
from benchrig.run.head import RunSettings, known_limits
from benchrig.run.runner import Runner
from benchrig.station.station import Station
from benchrig.steps.bench import Operator
from benchrig.testing.breaking import named, scene_of
from benchrig.testing.ran import Ran
from benchrig.testing.sources import DeviceSource, PlanSource, load_devices, load_plan

if TYPE_CHECKING:
    from benchrig.radio.radio import Radio


def run_plan(
    plan: PlanSource,
    *devices: DeviceSource,
    given: Mapping[str, Any] | None = None,
    fault: str | Fault | None = None,
    faults: Faults | None = None,
    air: str | None = None,
    seed: int = 0,
    operator: Operator | None = None,
    acknowledged: bool = True,
    only: Sequence[str] = (),
    from_: str | None = None,
    may_lack: Sequence[str] = (),
    limits: Path | None = None,
    folder: Path | None = None,
    files: Path | None = None,
    watch: Callable[[AnyEvent], None] = lambda event: None,
) -> Ran:
    """Run the plan on these devices, as `benchrig run --radio virtual:…` does, in memory and on a virtual clock.

    Plan and devices are files (`Path`), their text (`str`) or data (mappings). `given`, `air`, `seed`, `only`, `from_`
    `may_lack` and `limits` are the options of `benchrig run`.

    fault         what is wrong with the unit: a fault of `faults_of`, or its name
    faults        what goes wrong on the air: `Faults(kill_at=60)` ends the link at the 60th PDU
    operator      answers questions: `Answers({…})`; without one nobody does
    acknowledged  whether the caution of the plan is acknowledged
    folder        where text and data are taken to be: functions and files beside the plan are looked for there (default: the
                  current folder)
    files         where the run leaves its files, such as console.log (default: nowhere)
    watch         is called with each event when it happens

    Raises PlanError with all problems of plan and devices, and UsageError, also when no link was killed that `faults` wanted
    killed. What happens in the run is its verdict.
    """
    scene = Scene(tuple(load_devices(devices, folder=folder, air=air)), air)
    loaded = load_plan(plan, given, folder=folder, seed=seed, limits=limits)
    if fault is not None:
        scene = _broken(scene, fault, loaded, faults)
    with _place(files) as place:
        allowed = known_limits(loaded, may_lack)
        settings = RunSettings(Station("virtual"), "virtual", True, place, seed, acknowledged, may_lack=allowed)
        with _killed(faults):
            return simulate(
                loaded,
                scene,
                settings,
                operator or Answers(),
                only=only,
                from_=from_,
                faults=faults,
                kept=files is not None,
                during=lambda runner, event: watch(event),
            )


def simulate(
    plan: Plan,
    scene: Scene,
    settings: RunSettings,
    operator: Operator,
    *,
    only: Sequence[str] = (),
    from_: str | None = None,
    faults: Faults | None = None,
    capture: Path | None = None,
    kept: bool = False,
    opened: Callable[[Radio], None] = lambda radio: None,
    during: Callable[[Runner, AnyEvent], object] = lambda runner, event: None,
) -> Ran:
    """Run a plan that is loaded; with `kept` its consoles are kept in its folder. `opened` is given the radio before the first step, `during` each event when it happens:
    it may interrupt the runner."""
    _refuse_loop()
    stray: list[str] = []
    runner, events = simulated_runner(
        plan,
        choose_steps(plan, only, from_),
        replace(scene, befalls=(*scene.befalls, opened)),
        settings,
        operator,
        lambda event: during(runner, event),
        faults=faults,
        capture=capture,
        kept=kept,
    )

    async def main() -> int:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _, context: stray.append(str(context)))
        await runner.run()
        return len(asyncio.all_tasks()) - 1

    tasks = in_loop(main(), VirtualLoop)
    return Ran(plan, events, build_record(events), tasks, stray)


def _broken(scene: Scene, fault: str | Fault, plan: Plan, faults: Faults | None) -> Scene:
    sound = scene_of(scene.devices, scene.air)
    chosen = named(fault, sound, plan) if isinstance(fault, str) else fault
    broken = chosen.scene(sound)
    if broken.faults and faults:
        raise UsageError(f"the fault '{chosen.name}' and faults= are both of the air", advice="leave one of them out")
    return broken


@contextmanager
def _place(files: Path | None) -> Iterator[Path]:
    """Where the run leaves its files; what nobody wants is gone with it."""
    if files is not None:
        files.mkdir(parents=True, exist_ok=True)
        yield files
    else:
        with TemporaryDirectory(prefix="benchrig-") as folder:
            yield Path(folder)


@contextmanager
def _killed(faults: Faults | None) -> Iterator[None]:
    """A link that was to be killed has been, or the test that asked for it proves nothing. The faults are for a next run
    what they were for this one."""
    number = faults.kill_at if faults else None
    yield
    if faults is None or number is None:
        return
    if faults.kill_at == number:
        raise UsageError(f"no link was killed at PDU {number}: the run had fewer", advice="choose a smaller number")
    faults.kill_at = number


def _refuse_loop() -> None:
    """A loop within another is what asyncio has not."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return
    raise UsageError(
        "benchrig.testing.run_plan makes an event loop, and another one is running here",
        advice="call it in an ordinary function, or await benchrig.run_plan",
    )
