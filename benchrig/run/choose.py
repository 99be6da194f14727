"""Which steps of a plan a run takes: all, from one on, or only some, with what these need before them."""

from __future__ import annotations

from collections.abc import Sequence

from benchrig.errors import UsageError
from benchrig.plan.flow import givers, touches_the_unit
from benchrig.plan.model import Plan
from benchrig.plan.tree import Node, StepPlan, pruned
from benchrig.source.problem import suggest
from benchrig.steps.base import Cap


def choose_steps(plan: Plan, only: Sequence[str] = (), from_: str | None = None) -> list[Node]:
    """The part of the plan to run. UsageError for a step that the plan does not have."""
    if not only and from_ is None:
        return list(plan.nodes)
    body = [step for step in plan.steps if step.section == "steps"]
    wanted = {_find(plan, name).id for name in only}
    if from_ is not None:
        first = plan.steps.index(_find(plan, from_))
        wanted |= {step.id for step in plan.steps[first:] if step.section == "steps"}
    needed = _with_needs(plan.steps, wanted | _values_for_clean_up(plan))
    touches = any(step.id in needed and touches_the_unit(step) for step in body)
    return pruned(plan.nodes, lambda step: step.id in needed or _cleans_up(step, touches))


def _cleans_up(step: StepPlan, touched: bool) -> bool:
    """A unit that was not touched needs no clean-up; the fixture may."""
    return step.section == "finally" and (touched or not touches_the_unit(step))


def _values_for_clean_up(plan: Plan) -> set[str]:
    """The steps that save what the clean-up puts back: a part of a plan needs them as the whole does."""
    used = {name for step in plan.steps if step.section == "finally" for name in step.uses}
    return {step.id for step in plan.steps if step.section == "steps" and used & set(step.saves)}


def _find(plan: Plan, name: str) -> StepPlan:
    for step in plan.steps:
        if name in (step.name, step.id):
            return step
    raise UsageError(f"the plan has no step '{name}'", advice=suggest(name, [step.name for step in plan.steps]))


def _with_needs(steps: Sequence[StepPlan], wanted: set[str]) -> set[str]:
    """The wanted steps, those whose saved values they use, and those that give what they need."""
    needed: set[str] = set()
    position = {step.id: index for index, step in enumerate(steps)}
    open_ = [step.id for step in reversed(steps) if step.id in wanted]
    while open_:
        id_ = open_.pop()
        if id_ in needed:
            continue
        needed.add(id_)
        step, before = steps[position[id_]], steps[: position[id_]]
        open_ += [other.id for other in before if set(other.saves) & step.uses]
        open_ += [other.id for other in givers(step, before)]
    return needed | _between_connections(steps, needed)


def _between_connections(steps: Sequence[StepPlan], needed: set[str]) -> set[str]:
    """The disconnect steps after a connection that is made and before the next one that is."""
    between, last, connected = set[str](), "", False
    for step in steps:
        if Cap.LINK in step.ends:
            last = step.id
        elif Cap.LINK in step.gives and step.id in needed:
            between |= {last} if connected and last else set()
            connected, last = True, ""
    return between
