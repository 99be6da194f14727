"""Which steps of a plan a run takes: all, from one on, or only some, with what these need before them."""

from __future__ import annotations

from collections.abc import Sequence

from benchrig.errors import UsageError
from benchrig.plan.flow import givers, touches_the_unit
from benchrig.plan.model import Plan, StepPlan
from benchrig.source.problem import suggest
from benchrig.steps.base import Cap


def choose_steps(plan: Plan, only: Sequence[str] = (), from_: str | None = None) -> list[StepPlan]:
    """The steps to run, in order. UsageError for a step that the plan does not have."""
    if not only and from_ is None:
        return list(plan.steps)
    body = [step for step in plan.steps if step.section == "steps"]
    wanted = {_find(plan, name).number for name in only}
    if from_ is not None:
        first = _find(plan, from_).number
        wanted |= {step.number for step in body if step.number >= first}
    needed = _with_needs(plan.steps, wanted | _values_for_clean_up(plan))
    touches = any(step.number in needed and touches_the_unit(step) for step in body)
    return [step for step in plan.steps if step.number in needed or _cleans_up(step, touches)]


def _cleans_up(step: StepPlan, touched: bool) -> bool:
    """A unit that was not touched needs no clean-up; the fixture may."""
    return step.section == "finally" and (touched or not touches_the_unit(step))


def _values_for_clean_up(plan: Plan) -> set[int]:
    """The steps that save what the clean-up puts back: a part of a plan needs them as the whole does."""
    used = {name for step in plan.steps if step.section == "finally" for name in step.uses}
    return {step.number for step in plan.steps if step.section == "steps" and used & set(step.saves)}


def _find(plan: Plan, name: str) -> StepPlan:
    for step in plan.steps:
        if name == step.name or name == str(step.number):
            return step
    raise UsageError(f"the plan has no step '{name}'", advice=suggest(name, [step.name for step in plan.steps]))


def _with_needs(steps: Sequence[StepPlan], wanted: set[int]) -> set[int]:
    """The wanted steps, those whose saved values they use, and the scan and connect before them."""
    needed: set[int] = set()
    open_ = sorted(wanted, reverse=True)
    by_number = {step.number: step for step in steps}
    while open_:
        step = by_number.get(open_.pop())
        if step is None or step.number in needed:
            continue
        needed.add(step.number)
        before = [other for other in steps if other.number < step.number]
        open_ += [other.number for other in before if set(other.saves) & step.uses]
        open_ += [other.number for other in givers(step, before)]
    return needed | _between_connections(steps, needed)


def _between_connections(steps: Sequence[StepPlan], needed: set[int]) -> set[int]:
    """The disconnect steps after a connection that is made and before the next one that is."""
    between, last, connected = set[int](), 0, False
    for step in steps:
        if Cap.LINK in step.kind.ends:
            last = step.number
        elif Cap.LINK in step.kind.gives and step.number in needed:
            between |= {last} if connected and last else set()
            connected, last = True, 0
    return between
