"""Two executions on one link at the same time: each has its own limits and readings, and neither ends what the other
hears."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

from benchrig.plan.loader import load_plan
from benchrig.radio.device import DeviceSession
from benchrig.radio.specify import open_simulated
from benchrig.radio.unit import Unit
from benchrig.radio.virtual import load_devices
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.record.events import AnyEvent, Reading, Where
from benchrig.run.clock import Clock
from benchrig.run.context import StepContext, Surroundings
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Problems
from tests.run.kit import device_text, plan_text

SENDER = """services:
  - service: environmental sensing
    characteristics:
      - {characteristic: temperature, properties: [notify], value: 21 °C, notify: {period: 100 ms}}
      - {characteristic: humidity, properties: [notify], value: 40 %, notify: {period: 50 ms}}
"""
Runner = Callable[[int], Coroutine[Any, Any, StepContext]]


def at_device(folder: Path, steps: str, work: Callable[[Runner], Coroutine[Any, Any, None]]) -> list[AnyEvent]:
    """Connect, and let `work` start steps of the plan by their number; the events of all."""
    (folder / "plan.yaml").write_text(plan_text(steps), encoding="utf-8")
    (folder / "device.yaml").write_text(device_text(SENDER), encoding="utf-8")
    plan = load_plan(folder / "plan.yaml", {})
    events: list[AnyEvent] = []

    async def main() -> None:
        radio = await open_simulated(load_devices([folder / "device.yaml"], Problems()), seed=1)
        device, clock = DeviceSession(Unit(radio, plan.selection())), Clock()
        run = Surroundings({}, Unattended(), folder, folder, clock, events.append)

        async def carry_out(number: int) -> StepContext:
            step_plan = plan.steps[number - 1]
            assert step_plan.step is not None
            context = StepContext(run, device, step_plan, step_plan.step, Where(str(number)), clock.now() + 60)
            await step_plan.step.run(context)
            context.readings.finish()
            return context

        await device.unit.find(0.3, 5)
        await device.connect(5)
        await work(carry_out)
        await radio.close()

    with asyncio.Runner(loop_factory=VirtualLoop) as runner:
        runner.run(main())
    return events


def of(events: list[AnyEvent], number: int) -> dict[str, Reading]:
    return {e.name: e for e in events if isinstance(e, Reading) and not e.partial and e.where.node == str(number)}


SAME = """  - notify: temperature
    for: 1 s
    expect: {value: {max: 20 °C}}
  - notify: temperature
    for: 3 s
    expect: {value: {min: 20 °C}}
"""


def test_two_streams_of_one_characteristic_are_judged_apart(tmp_path: Path) -> None:
    async def work(carry_out: Runner) -> None:
        async with asyncio.TaskGroup() as group:
            group.create_task(carry_out(3))
            group.create_task(carry_out(4))

    events = at_device(tmp_path, SAME, work)
    short, long = of(events, 3), of(events, 4)
    for readings, count, passed in ((short, 10, False), (long, 30, True)):
        value = readings["value"]
        assert value.samples is not None
        assert value.judgement is not None
        assert (value.judgement.passed, abs(value.samples.count - count) <= 1) == (passed, True)
        assert readings["count"].value == value.samples.count
    assert long["value"].samples is not None
    assert long["value"].samples.outside == 0


def test_two_characteristics_side_by_side(tmp_path: Path) -> None:
    steps = "  - notify: temperature\n    count: 20\n  - notify: humidity\n    count: 20\n"

    async def work(carry_out: Runner) -> None:
        async with asyncio.TaskGroup() as group:
            group.create_task(carry_out(3))
            group.create_task(carry_out(4))

    events = at_device(tmp_path, steps, work)
    assert [of(events, number)["value"].value for number in (3, 4)] == [21, 40]
    assert of(events, 3)["value"].at > of(events, 4)["value"].at + 0.9


def test_what_one_attempt_gave_is_not_there_in_the_next(tmp_path: Path) -> None:
    async def work(carry_out: Runner) -> None:
        first, second = await carry_out(3), await carry_out(3)
        assert first.readings is not second.readings
        assert [r.name for r in first.readings.all] == [r.name for r in second.readings.all]

    at_device(tmp_path, SAME, work)
