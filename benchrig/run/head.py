"""What a run is before it begins: its settings, and the first line of its record."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path
from platform import node, python_version
from typing import Any

from msgspec.structs import replace

from benchrig.errors import UsageError
from benchrig.plan.checks import limits_by_name
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, leaves
from benchrig.record.events import (
    FORMAT,
    PlannedDevice,
    PlannedNode,
    PlannedRequirement,
    RunStarted,
)
from benchrig.record.line_part import LinePart
from benchrig.record.study_part import StudyPart
from benchrig.run.choose import changes_left_out
from benchrig.source.problem import suggest
from benchrig.source.references import as_text
from benchrig.station.station import Station
from benchrig.values.jsonable import moment_text
from benchrig.version import __version__

_SERIAL_NUMBER = "2A25"


@dataclass(frozen=True)
class RunSettings:
    """What a run is, beside its plan. `folder` is where it leaves its files; `seed` only where it has a meaning;
    `devices` are the names or addresses that narrow the plan's selections for this run, by device; `may_lack` names limits
    ('step.reading') that need not be judged where the radio cannot measure the reading, beside those of the plan; `study`
    says which measurement of a gauge study it is, `line` what it is at a line."""

    station: Station
    radio: str
    simulated: bool
    folder: Path
    seed: int | None = None
    acknowledged: bool = False
    devices: Mapping[str, str] = field(default_factory=dict)
    may_lack: frozenset[str] = frozenset()
    keep_samples: int = 0
    study: StudyPart | None = None
    line: LinePart | None = None


def narrowed(plan: Plan, said: Sequence[str]) -> dict[str, str]:
    """To what devices the run narrows those of the plan, by name: each is DEVICE, in a plan with several NAME=DEVICE.
    UsageError for a name that the plan does not have, and for one twice."""
    pairs = [("", text) if "" in plan.devices else _pair(plan, text) for text in said if text]
    if len({key for key, _ in pairs}) < len(pairs):
        raise UsageError("--device names one device twice", advice="give --device once for a device of the plan")
    return dict(pairs)


def _pair(plan: Plan, text: str) -> tuple[str, str]:
    key, sign, device = text.partition("=")
    if not (sign and device) or key not in plan.devices:
        advice = suggest(key, plan.devices) if sign else ""
        listed = ", ".join(plan.devices)
        raise UsageError(
            f"--device {text} names no device of the plan",
            advice=advice or f"write NAME=DEVICE; NAME is one of {listed}",
        )
    return key, device


def may_lack(plan: Plan, settings: RunSettings) -> frozenset[str]:
    """The limits ('step.reading') without which this run may pass, where the radio cannot measure the reading."""
    return plan.may_lack | settings.may_lack


def texts_of(given: Mapping[str, Any]) -> dict[str, str]:
    """Given values as a plan takes them: text. UsageError for a list or a mapping, which none can be."""
    texts = {name: as_text(value) for name, value in given.items()}
    for name, text in texts.items():
        if text is None:
            found = type(given[name]).__name__
            raise UsageError(f"expected text or a number for the given value '{name}', found {found}")
    return {name: text for name, text in texts.items() if text is not None}


def known_limits(plan: Plan, names: Collection[str]) -> frozenset[str]:
    """The names of limits ('step.reading') that a run may lack. UsageError for one that the plan does not have."""
    limits = limits_by_name(plan.steps)
    for name in names:
        if name not in limits:
            raise UsageError(f"--may-lack: the plan has no limit '{name}'", advice=suggest(name, limits))
    return frozenset(names)


def given_serial(plan: Plan) -> str:
    """The serial number that the unit should have, as far as the run was given one: the value `serial`, or the one that
    the serial number of the unit must equal. '' for none, and for a secret one."""
    given = {name: str(value) for name, value in plan.values.items() if name not in plan.secret_names}
    expected = (given.get("serial", ""), *(_expected_serial(step) for step in plan.steps))
    return next((each for each in expected if each and each in given.values()), "")


def _expected_serial(plan: StepPlan) -> str:
    limit = getattr(plan.step.limits.get("value"), "equals", None) if plan.step else None
    if plan.step is None or not isinstance(limit, str):
        return ""
    return limit if _SERIAL_NUMBER in plan.step.subject(plan.names) else ""


def planned_requirements(plan: Plan) -> dict[str, PlannedRequirement]:
    return {
        name: PlannedRequirement(each.says, [step.id for step in plan.steps if name in step.proves])
        for name, each in plan.requirements.items()
    }


def run_started(plan: Plan, nodes: Sequence[StepPlan], settings: RunSettings) -> RunStarted:
    """The head of the record of a run that starts now."""
    left_out = sum(1 for _ in leaves(plan.nodes)) - sum(1 for _ in leaves(nodes))
    changes = changes_left_out(plan, nodes) if left_out else {}
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
        given={name: as_text(value) or str(value) for name, value in plan.values.items() if name in plan.given},
        given_serial=given_serial(plan),
        scanned=dict(plan.scanned),
        variants=dict(plan.variants),
        caution=plan.caution,
        nodes=[_planned_after(node.planned(), changes.get(node.id)) for node in nodes],
        devices={
            key: PlannedDevice(device.written(), settings.devices.get(key, "")) for key, device in plan.devices.items()
        },
        may_lack=sorted(may_lack(plan, settings)),
        study=settings.study,
        line=settings.line,
        requirements=planned_requirements(plan),
        limit_set=plan.limit_set,
        left_out=left_out,
        plan_text=plan.text,
        fixture=settings.station.fixture.recorded if settings.station.fixture else None,
        host=node(),
        versions={"benchrig": __version__, "bleak": _version_of_bleak(), "python": python_version()},
    )


def _planned_after(node: PlannedNode, left: list[str] | None) -> PlannedNode:
    """A node of a partial run, and all in it, with what was left out before it."""
    if not left:
        return node
    return replace(node, left_before=left, children=[_planned_after(child, left) for child in node.children])


@cache
def _version_of_bleak() -> str:
    return version("bleak")
