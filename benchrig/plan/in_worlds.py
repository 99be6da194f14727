"""Checks of a plan in each of its worlds: a step that is left out gives no link and saves no value."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TypeAlias

from msgspec import structs

from benchrig.plan.condition_checks import ConditionChecks
from benchrig.plan.conditions import of_limits, of_step
from benchrig.plan.flow import check_flow
from benchrig.plan.tree import Part, StepPlan, every_step
from benchrig.plan.worlds import World, worlds
from benchrig.source.problem import Problem, Problems
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.steps import Step

Check: TypeAlias = Callable[[Problems, Sequence[StepPlan]], None]

_ADVICE = "give both steps the same only_if, or take it out of the one"


class InWorlds:
    """Of one plan with conditions."""

    def __init__(self, problems: Problems, nodes: Sequence[StepPlan], conditions: ConditionChecks) -> None:
        self._problems = problems
        count = sum(1 for _ in every_step(nodes))
        self._worlds = worlds(conditions.all, conditions.words, conditions.kinds, count)
        self._steps = [in_world(nodes, world) for world in self._worlds]

    def check(self, check: Check) -> None:
        """What is wrong in some worlds alone is told with the first of them."""
        found: dict[tuple[str, str], tuple[Problem, list[World]]] = {}
        for world, steps in zip(self._worlds, self._steps, strict=True):
            for problem in _found(check, steps):
                found.setdefault((str(problem.place), problem.message), (problem, []))[1].append(world)
        said = {(str(each.place), each.message) for each in self._problems.found}
        for key, (problem, where) in found.items():
            if key not in said and len(where) == len(self._worlds):
                self._problems.add(problem.place, problem.message, problem.advice)
            elif key not in said:
                self._problems.add(problem.place, f"{problem.message} (where {_alike(where)})", _ADVICE)


def _alike(worlds: Sequence[World]) -> str:
    """What these worlds have in common, as far as a person wants to read it."""
    common = [said for said in worlds[0].said if all(said in world.said for world in worlds)]
    return " and ".join((common or [*worlds[0].said])[:3])


def _found(check: Check, nodes: Sequence[StepPlan]) -> list[Problem]:
    problems = Problems()
    check(problems, nodes)
    return list(dict.fromkeys(problems.found))


def in_world(nodes: Iterable[StepPlan], world: World) -> list[StepPlan]:
    """The steps that are carried out there, for sure, with the limits that hold there."""
    return [_in_world(step, world) for step in nodes if not step.conditions or world.has(of_step(step))]


def _in_world(step: StepPlan, world: World) -> StepPlan:
    if not step.conditions and not step.parts:
        return step
    gone = {name for name, conditions in of_limits(step).items() if not world.has(conditions)}
    parts = tuple(Part(part.name, tuple(in_world(part.steps, world))) for part in step.parts)
    return replace(without(step, gone), parts=parts)


def without(plan: StepPlan, limits: Iterable[str]) -> StepPlan:
    """The step without these limits."""
    gone = set(limits)
    model = without_limits(plan.step, gone) if plan.step is not None else None
    return replace(plan, node=_without(plan.node, gone), step=model)


def without_limits(step: Step, gone: set[str]) -> Step:
    """The model without these limits."""
    return (
        structs.replace(step, expect={n: limit for n, limit in step.expect.items() if n not in gone}) if gone else step
    )


def _without(node: MappingNode, limits: set[str]) -> MappingNode:
    """The node without these limits."""
    expected = node.get("expect")
    if not limits or not isinstance(expected, MappingNode):
        return node
    kept = {name: entry for name, entry in expected.entries.items() if name not in limits}
    entries = {**node.entries, "expect": (node.entries["expect"][0], MappingNode(kept, expected.place))}
    return MappingNode(entries, node.place)


def check_link(problems: Problems, nodes: Sequence[StepPlan]) -> None:
    """The way of the link through the steps of a world, where no condition is open any more."""
    check_flow(problems, [_certain(step) for step in nodes])


def _certain(step: StepPlan) -> StepPlan:
    if "only_if" not in step.node.entries and not step.parts:
        return step
    entries = {key: entry for key, entry in step.node.entries.items() if key != "only_if"}
    parts = tuple(Part(part.name, tuple(map(_certain, part.steps))) for part in step.parts)
    return replace(step, node=MappingNode(entries, step.node.place), parts=parts)
