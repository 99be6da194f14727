"""What a plan can be asked for in a study: a reading that it takes once, and the serial number of the unit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchrig.errors import UsageError
from benchrig.plan.model import Plan
from benchrig.plan.tree import StepPlan, every_step
from benchrig.radio.proof import SERIAL_NUMBER
from benchrig.source.problem import suggest
from benchrig.values.limit import Limit

_SERIAL = SERIAL_NUMBER[4:8].upper()  # as a step names what it is about


def check_plan(plan: Plan) -> None:
    """See that a run of the plan tells which unit it measured. UsageError."""
    if len(plan.devices) > 1:
        raise UsageError("the plan has several devices: expected one, the unit that is measured")
    if not any(map(_reads_serial, every_step(plan.nodes))):
        raise UsageError(
            "the plan never reads the serial number: nothing would show which unit was measured",
            advice="add a step to the plan: - read: serial number",
        )


def _reads_serial(step: StepPlan) -> bool:
    model = step.step or step.outline
    return model is not None and _SERIAL in model.subject(step.names)


def readings_of(plan: Plan, named: Sequence[str]) -> list[str]:
    """The readings ('STEP.READING') that are asked for; without a name all numbers that the plan holds between two bounds,
    for these have a tolerance. UsageError."""
    known = dict(_known(plan))
    for name in named:
        if name not in known:
            raise UsageError(f"the plan takes no reading '{name}' once in a run", advice=suggest(name, known))
    found = [*named] or [name for name, step in known.items() if _has_tolerance(step, name)]
    if not found:
        raise UsageError("no reading of the plan has two bounds", advice="name a reading with --reading STEP.READING")
    return found


def _known(plan: Plan) -> Iterator[tuple[str, StepPlan]]:
    """The readings of the steps that are carried out once, each step by its name; by its number, where several have that."""
    once = [*_once(plan.nodes)]
    names = [step.called for step in every_step(plan.nodes)]
    for step in once:
        by = step.called if names.count(step.called) == 1 else step.id
        for reading in _readings(step):
            yield f"{by}.{reading}", step


def _once(steps: Sequence[StepPlan]) -> Iterator[StepPlan]:
    for step in steps:
        yield step
        if not step.is_repeated:
            yield from _once(step.children)


def _readings(step: StepPlan) -> list[str]:
    model = step.step or step.outline
    types = model.readings(step.names) if model is not None else None
    numbers = [name for name, each in (types or {}).items() if each.kind == "number"]
    return [*dict.fromkeys([*step.limit_names, *numbers])]


def _has_tolerance(step: StepPlan, name: str) -> bool:
    model = step.step or step.outline
    limit = model.limits.get(name.removeprefix(f"{step.called}.").removeprefix(f"{step.id}.")) if model else None
    if not isinstance(limit, Limit):
        return False
    keys = {*limit.keys()}
    return "nominal" in keys or bool(keys & {"min", "above"} and keys & {"max", "below"})
