"""A whole run in one line: plan as text or file, devices as these or as specifications, faults, operator; back comes
everything it left."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.radio.beside import Beside
from benchrig.radio.specify import open_simulated
from benchrig.radio.virtual import Faults, load_devices
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.record.accounting import unaccounted
from benchrig.record.aggregate import build_record
from benchrig.record.model import AnyEvent, Execution, Reading, Record, RunEnded
from benchrig.run.choose import choose_steps
from benchrig.run.head import RunSettings
from benchrig.run.runner import Runner
from benchrig.run.station import Station
from benchrig.run.unattended import Unattended
from benchrig.source.problem import Problems
from benchrig.steps.bench import Operator
from tests.scratch import scratch

PLANS = Path(__file__).parents[2] / "testplans"
DEVICES = PLANS / "devices"
# 17 steps on the logger, one after the other
LINE = Path(__file__).with_name("line.yaml")
# the plans that ship, and the device that passes each
SHIPPED = {
    "end_of_line": "logger", "nightly_regression": "logger", "smoke": "logger", "twelve_checks": "sensor",
    "returned_unit": "logger", "box_end_of_line": "transport_box", "box_nightly": "transport_box",
    "returned_box": "transport_box", "box_bringup": "transport_box",
    "secure_end_of_line": "secure_logger", "secure_nightly": "secure_logger",
}  # fmt: skip

HEAD = "plan: a plan\ndevice:\n  select: {name: 'unit*'}\n"
REACH = "steps:\n  - scan:\n    for: 300 ms\n  - connect:\n"


def plan_text(steps: str, *, head: str = "", attributes: str = "", reach: str = REACH) -> str:
    """A plan with a scan and a connect before `steps` (a list in YAML, two spaces in)."""
    names = f"  attributes:\n{attributes}\n" if attributes else ""
    return f"{HEAD}{names}{head}{reach}{steps}"


def device_text(
    services: str = "services: []", *, name: str = "unit 1", address: str = "C4:00:00:00:00:01", more: str = ""
) -> str:
    """A device that advertises `name` every 20 ms."""
    return (
        f"device: {name}\naddress: '{address}'\n"
        f"advertising: {{interval: 20 ms, data: {{flags: 0x06, name: {name}}}}}\n{more}\n{services}\n"
    )


def pieces(count: int, *quick: int) -> list[Any]:
    """The numbers of the pieces of a sweep: those that are `quick` are for every run, the whole is slow."""
    return [piece if piece in quick else pytest.param(piece, marks=pytest.mark.slow) for piece in range(count)]


@dataclass
class Ran:
    """What a run left: its events in order, the record they make, the tasks still alive, errors nobody waited for."""

    events: list[AnyEvent]
    record: Record
    tasks_left: int
    stray: list[str]
    runner: Runner = field(repr=False)

    @property
    def ended(self) -> RunEnded:
        assert self.record.ended is not None
        return self.record.ended

    def step(self, name: str | int) -> Execution:
        """The first one that was carried out or left out, with steps in it or without; by its name or its number."""
        for each in self.record.executions:
            if str(name) in (each.planned.name, each.planned.id):
                return each
        raise AssertionError(
            f"no step '{name}', there is {self._names([e.planned.name for e in self.record.executions])}"
        )

    def reading(self, step: str | int, name: str = "value") -> Reading:
        readings = {each.name: each for each in reversed(self.step(step).readings)}
        assert name in readings, f"step '{step}' has no reading '{name}', there is {self._names(readings)}"
        return readings[name]

    def _names(self, names: Iterable[str]) -> str:
        return ", ".join(dict.fromkeys(names)) or "none"

    def verdicts(self) -> list[str]:
        return [s.ended.verdict if s.ended else "none" for s in self.record.steps]


def run(
    plan: str | Path,
    *devices: str | Path | Simulated,
    given: Mapping[str, str] | None = None,
    faults: Faults | None = None,
    seed: int = 1,
    operator: Operator | None = None,
    acknowledged: bool = True,
    only: Sequence[str] = (),
    from_: str | None = None,
    station: Station | None = None,
    capture: Path | None = None,
    air: str | None = None,
    may_lack: Sequence[str] = (),
    lacks: Mapping[str, str] | None = None,
    cannot: Mapping[str, str] | None = None,
    during: Callable[[Runner, AnyEvent], Any] | None = None,
    changed: Callable[[Plan], Plan] = lambda plan: plan,
    beside: Callable[[Any], list[Beside]] | None = None,
) -> Ran:
    """Run the plan on the virtual radio, which `lacks` what another radio would, and `cannot` do what it does. `during` sees every event as it comes
    and may interrupt the runner; `changed` gives the plan a shape that no file has; `beside` are consoles and switches in place
    of those of the devices."""
    with scratch() as folder:
        plan_file = _file(plan, folder, "plan.yaml")
        specified = [device for device in devices if not isinstance(device, (str, Path))]
        written = [device for device in devices if isinstance(device, (str, Path))]
        files = [_file(device, folder, f"device{index}.yaml") for index, device in enumerate(written)]
        problems = Problems()
        models = [*specified, *load_devices(files, problems)]
        problems.raise_if_any()
        loaded = changed(load_plan(plan_file, given or {}))
        settings = RunSettings(
            station or Station("bench 1"),
            "virtual",
            True,
            folder,
            seed,
            acknowledged,
            may_lack=frozenset(may_lack),
        )
        events: list[AnyEvent] = []
        stray: list[str] = []

        async def opened() -> Any:
            radio = await open_simulated(models, seed=seed, faults=faults, capture=capture, air=air)
            radio.beside = beside(radio) if beside else radio.beside
            radio.lacks, radio.cannot = lacks or radio.lacks, cannot or radio.cannot
            return radio

        def emit(event: AnyEvent) -> None:
            events.append(event)
            if during is not None:
                during(runner, event)

        runner = Runner(loaded, choose_steps(loaded, only, from_), settings, opened, operator or Unattended(), emit)

        async def main() -> int:
            loop = asyncio.get_running_loop()
            loop.set_exception_handler(lambda _, context: stray.append(str(context)))
            await runner.run()
            return len(asyncio.all_tasks()) - 1

        with asyncio.Runner(loop_factory=VirtualLoop, debug=False) as loop_runner:
            tasks = loop_runner.run(main())
    record = build_record(events)
    assert not (wrong := unaccounted(record)), wrong
    return Ran(events, record, tasks, stray, runner)


def _file(content: str | Path, folder: Path, name: str) -> Path:
    if isinstance(content, Path):
        return content
    path = folder / name
    path.write_text(content, encoding="utf-8")
    return path
