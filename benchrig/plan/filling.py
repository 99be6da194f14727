"""A step with its values, in the run: what `check` could not know is judged now, in a sentence of its own."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any, cast

import msgspec

from benchrig.errors import StepFailed, UnfitValue
from benchrig.plan.checks import check_names, check_readings
from benchrig.plan.inner import readings_of
from benchrig.plan.substitution import Room, substitute
from benchrig.plan.tree import StepPlan, place_text
from benchrig.source.problem import Problem, Problems
from benchrig.source.references import references
from benchrig.source.shape import BAD, Reader
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps import Step


def filled(plan: StepPlan, values: Mapping[str, Any]) -> Step:
    """The model of a step with its references replaced. UnfitValue when a value does not fit where it is used."""
    if plan.step is not None:
        return plan.step
    problems = Problems()
    known = {name: value for name, value in values.items() if name not in plan.late}
    node = cast("MappingNode", substitute(plan.node, known, Room(problems), partly=bool(plan.late)))
    if problems.found:
        raise unfit(problems.found)
    step = Reader(problems).read(node, plan.kind)
    if step is not BAD and not problems.found:
        check_names(problems, node, step, plan.names)
        readings = partial(readings_of, plan)
        check_readings(problems, node, step, readings, written=False, late=False)
    if problems.found:
        raise unfit(problems.found)
    return cast("Step", step)


def partly_filled(plan: StepPlan, values: Mapping[str, Any]) -> Step | None:
    """The model of a step with the references replaced whose values are known; the others stay open."""
    problems = Problems()
    node = cast("MappingNode", substitute(plan.node, values, Room(problems), partly=True))
    step = Reader(problems).read(node, plan.kind) if not problems.found else plan.outline
    return plan.outline if problems.found else cast("Step", step)


def late_value(plan: StepPlan, key: str, values: Mapping[str, Any]) -> Any:
    """What a `late` key says, once the steps in the step have saved what it refers to. UnfitValue, StepFailed."""
    written = plan.node.entries[key][1]
    if missing := {name for name, _ in references(written)} - values.keys():
        raise StepFailed(f"{key}: no step in it saved '{min(missing)}'")
    problems = Problems()
    kind = next(field.type for field in msgspec.structs.fields(plan.kind) if field.encode_name == key)
    value = Reader(problems).read(substitute(written, values, Room(problems)), kind)
    if problems.found:
        raise unfit(problems.found)
    return value


def unfit(problems: list[Problem]) -> UnfitValue:
    """Problems that show in the run only, in one sentence with their places."""
    said = dict.fromkeys(f"{problem.message} ({place_text(problem.place)})" for problem in problems)
    return UnfitValue("; ".join(said), advice=problems[0].advice)
