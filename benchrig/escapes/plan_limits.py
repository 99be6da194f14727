"""What a plan says of the values of a device: faults are values just outside of that."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.faults.limits import Limits
from benchrig.faults.parts import At, characteristics
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.source.shape import Misfit
from benchrig.steps.attribute import AttributeName
from benchrig.values.limit import Limit

_VALUE = "value"


def limits_of(plan: Plan, device: DeviceSpec) -> Limits:
    """By the path of a characteristic, and of a field of a structure: what the steps of the plan want of it. What waits
    for a value of the run says nothing yet."""
    found: dict[str, list[Limit]] = {}
    known = [*characteristics(device)]
    for step in plan.steps:
        for at in _about(step, known):
            for reading, limit in _limits(step):
                path = at.path + reading.removeprefix(_VALUE)
                found[path] = [*found.get(path, ()), limit]
    return found


def _limits(step: StepPlan) -> Iterator[tuple[str, Limit]]:
    """On the value itself, not on what it was some time or on its statistics."""
    for reading, limit in step.step.limits.items() if step.step else ():
        if isinstance(limit, Limit) and (reading == _VALUE or reading.startswith(f"{_VALUE}.")):
            yield reading, limit


def _about(step: StepPlan, known: list[At]) -> list[At]:
    """The characteristics that the step reads or listens to."""
    about = getattr(step.step, step.kind.verb.replace(" ", "_"), None) if step.step else None
    if not isinstance(about, AttributeName):
        return []
    try:
        path = [part.uuid for part in step.names.meaning(about).address.path]
    except Misfit:
        return []
    return [each for each in known if path and [*_uuids(each)][-len(path) :] == path]


def _uuids(at: At) -> Iterator[str]:
    """Of its service and its own."""
    for service in at.within:
        yield str(service.service)
    yield str(at.spec.characteristic)
