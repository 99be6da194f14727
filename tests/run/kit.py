"""A whole run in one line: plan as text or file, devices as these or as specifications, faults, operator; back comes
everything it left."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from benchrig.faults.fault import Scene
from benchrig.plan.loader import load_plan
from benchrig.plan.model import Plan
from benchrig.radio.beside import Beside
from benchrig.radio.radio import Radio
from benchrig.radio.virtual import Faults
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.record.accounting import unaccounted
from benchrig.record.events import AnyEvent
from benchrig.run.head import RunSettings
from benchrig.run.runner import Runner
from benchrig.run.unattended import Unattended
from benchrig.station.station import Station
from benchrig.steps.bench import Operator
from benchrig.testing import Ran
from benchrig.testing.running import simulate
from benchrig.testing.sources import load_devices
from tests.scratch import scratch

__all__ = [
    "DEVICES", "HEAD", "LINE", "PLANS", "REACH", "SHIPPED", "Ran", "device_text", "pieces", "plan_text", "run",
]  # fmt: skip

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
    during: Callable[[Runner, AnyEvent], object] = lambda runner, event: None,
    changed: Callable[[Plan], Plan] = lambda plan: plan,
    limits: Path | None = None,
    beside: Callable[[Any], list[Beside]] | None = None,
) -> Ran:
    """Run the plan on the virtual radio, which `lacks` what another radio would, and `cannot` do what it does. `during` sees every event as it comes
    and may interrupt the runner; `changed` gives the plan a shape that no file has; `beside` are consoles and switches in place
    of those of the devices."""
    with scratch() as folder:
        plan_file = _file(plan, folder, "plan.yaml")
        files = [_file(each, folder, f"device{index}.yaml") if isinstance(each, str) else each
                 for index, each in enumerate(devices)]  # fmt: skip
        loaded = changed(load_plan(plan_file, given or {}, limits=limits))
        at = station or Station("bench 1")
        settings = RunSettings(at, "virtual", True, folder, seed, acknowledged, may_lack=frozenset(may_lack))

        def opened(radio: Radio) -> None:
            radio.beside = beside(radio) if beside else radio.beside
            radio.lacks, radio.cannot = lacks or radio.lacks, cannot or radio.cannot

        ran = simulate(
            loaded,
            Scene(tuple(load_devices(files, air=air)), air),
            settings,
            operator or Unattended(),
            only=only,
            from_=from_,
            faults=faults,
            capture=capture,
            opened=opened,
            during=during,
        )
    assert not (wrong := unaccounted(ran.record)), wrong
    return ran


def _file(content: str | Path, folder: Path, name: str) -> Path:
    if isinstance(content, Path):
        return content
    path = folder / name
    path.write_text(content, encoding="utf-8")
    return path
