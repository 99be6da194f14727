"""What a plan says of the values of a device: the limits of its steps by the attributes that they are about."""

from __future__ import annotations

from collections import defaultdict

from benchrig.faults.limits import Limits
from benchrig.faults.parts import At, characteristics
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.words import CharacteristicUuid, ServiceUuid
from benchrig.source.shape import Misfit, is_late
from benchrig.values.limit import Limit

_VALUE = "value"


def limits_of(plan: Plan, device: DeviceSpec) -> Limits:
    """Those that do not wait for the run."""
    found: dict[str, list[Limit]] = defaultdict(list)
    known = list(characteristics(device))
    for step in plan.steps:
        model = step.step or step.outline
        paths = [at.path for at in known if _is_about(step, at)] if model else []
        for reading, limit in model.limits.items() if model and len(paths) == 1 else ():
            name, _, field = reading.partition(".")
            if name == _VALUE and isinstance(limit, Limit) and not is_late(limit):
                found[f"{paths[0]}.{field}" if field else paths[0]].append(limit)
    return dict(found)


def _is_about(step: StepPlan, at: At) -> bool:
    model = step.step or step.outline
    assert model is not None
    try:
        *services, uuid = model.subject(step.names).split("/")
        own = CharacteristicUuid.from_source(uuid.partition("[")[0]) == at.spec.characteristic
        return own and all(ServiceUuid.from_source(one.partition("[")[0]) == at.within[0].service for one in services)
    except Misfit:
        return False
