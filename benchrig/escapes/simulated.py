"""A runner of a plan in a scene, whose events stay in memory."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.console.log import Keeping
from benchrig.faults.fault import Scene
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.radio.specify import open_simulated
from benchrig.record.events import AnyEvent
from benchrig.run.head import RunSettings
from benchrig.run.runner import Runner
from benchrig.steps.bench import Operator

if TYPE_CHECKING:
    from benchrig.radio.radio import Radio
    from benchrig.radio.virtual.faults import Faults


def simulated_runner(
    plan: Plan,
    nodes: Sequence[StepPlan],
    scene: Scene,
    settings: RunSettings,
    operator: Operator,
    heard: Callable[[AnyEvent], object],
    *,
    faults: Faults | None = None,
    capture: Path | None = None,
    kept: bool = False,
) -> tuple[Runner, list[AnyEvent]]:
    """The runner, and the events of its run as they come: without secret values, as in every record. `faults` go before
    those of the scene; with `kept` consoles are kept in the folder of the run."""
    secrets = plan.secrets()
    events: list[AnyEvent] = []

    async def opened() -> Radio:
        on_air = faults or (scene.faults() if scene.faults else None)
        hide = secrets.line if secrets else lambda text: text
        radio = await open_simulated(
            scene.devices,
            seed=settings.seed or 0,
            faults=on_air,
            capture=capture,
            air=scene.air,
            keeping=Keeping(settings.folder, runner.began, hide) if kept else None,
        )
        for befall in scene.befalls:
            befall(radio)
        return radio

    def emit(event: AnyEvent) -> None:
        event = secrets.masked(event) if secrets else event
        events.append(event)
        heard(event)

    runner = Runner(plan, nodes, settings, opened, operator, emit)
    runner.keep_secret = secrets.learn if secrets else runner.keep_secret
    return runner, events
