"""A step with its values, in the run: what `check` could not know is judged now, in a sentence of its own."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any, cast

from benchrig.errors import UnfitValue
from benchrig.plan.checks import check_readings
from benchrig.plan.inner import readings_of
from benchrig.plan.substitution import Room, substitute
from benchrig.plan.tree import StepPlan, place_text
from benchrig.source.problem import Problem, Problems
from benchrig.source.shape import BAD, Reader
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps import Step


def filled(plan: StepPlan, values: Mapping[str, Any]) -> Step:
    """The model of a step with its references replaced. UnfitValue when a value does not fit where it is used."""
    if plan.step is not None:
        return plan.step
    problems = Problems()
    node = cast("MappingNode", substitute(plan.node, values, Room(problems)))
    if problems.found:
        raise unfit(problems.found)
    step = Reader(problems).read(node, plan.kind)
    if step is not BAD and not problems.found:
        readings = partial(readings_of, plan)
        check_readings(problems, node, step, readings, written=False, late=False)
    if problems.found:
        raise unfit(problems.found)
    return cast("Step", step)


def unfit(problems: list[Problem]) -> UnfitValue:
    """Problems that show in the run only, in one sentence with their places."""
    said = dict.fromkeys(f"{problem.message} ({place_text(problem.place)})" for problem in problems)
    return UnfitValue("; ".join(said), advice=problems[0].advice)
