"""What a run is before it begins: its settings, and the first line of its record."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from platform import python_version

from benchrig import __version__
from benchrig.plan.model import Plan
from benchrig.plan.tree import Node, leaves
from benchrig.record.model import FORMAT, PlannedDevice, RunStarted
from benchrig.run.station import Station
from benchrig.values.jsonable import moment_text


@dataclass(frozen=True)
class RunSettings:
    """What a run is, beside its plan. `folder` is where it leaves its files; `seed` only where it has a meaning;
    `device` is the name or address that narrows the plan's selection for this run, '' for none; `may_lack` names limits
    ('step.reading') that need not be judged where the radio cannot measure the reading, beside those of the plan."""

    station: Station
    radio: str
    simulated: bool
    folder: Path
    seed: int | None = None
    acknowledged: bool = False
    device: str = ""
    may_lack: frozenset[str] = frozenset()


def may_lack(plan: Plan, settings: RunSettings) -> frozenset[str]:
    """The limits ('step.reading') without which this run may pass, where the radio cannot measure the reading."""
    return plan.may_lack | settings.may_lack


def run_started(plan: Plan, nodes: Sequence[Node], settings: RunSettings) -> RunStarted:
    """The head of the record of a run that starts now."""
    return RunStarted(
        format=FORMAT,
        run_id=uuid.uuid4().hex,
        started=moment_text(datetime.now(UTC)),
        plan=plan.name,
        plan_file=str(plan.path),
        plan_hash=plan.hash,
        revision=plan.revision,
        station=settings.station.station,
        radio=settings.radio,
        simulated=settings.simulated,
        seed=settings.seed,
        given={name: str(value) for name, value in plan.values.items()},
        caution=plan.caution,
        nodes=[node.planned(plan.names) for node in nodes],
        devices={"": PlannedDevice(plan.written_selection(), settings.device)},
        may_lack=sorted(may_lack(plan, settings)),
        left_out=len(plan.steps) - sum(1 for _ in leaves(nodes)),
        versions={"benchrig": __version__, "bleak": version("bleak"), "python": python_version()},
    )
