"""What the product promises, by its id, and the steps of a plan that prove it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from benchrig.plan.tree import StepPlan, every_step, place_text
from benchrig.source.nodes import locate
from benchrig.source.problem import Place, Problems, suggest
from benchrig.source.yaml import Mapping as MappingNode


class Requirement(NamedTuple):
    """What is promised, in words, and where the plan says so."""

    says: str
    place: Place


def read_requirements(said: Mapping[str, str], node: MappingNode) -> dict[str, Requirement]:
    """Those of a plan, with their places."""
    written = locate(node, ("requirements",))
    places = {str(key): key_node.place for key, (key_node, _) in written.entries.items()} if said else {}  # type: ignore[union-attr]
    return {name: Requirement(says.strip(), places[name]) for name, says in said.items()}


def check_requirements(problems: Problems, promised: Iterable[str], steps: Iterable[StepPlan]) -> None:
    """Steps that name what the plan does not promise."""
    known = [*promised]
    for step in steps:
        for name, place in step.proving if step.step is not None or step.outline is not None else ():
            if name not in known:
                advice = suggest(name, known) or "write it under requirements: at the top of the plan"
                problems.add(place, f"the plan has no requirement '{name}'", advice)


def unproven(promised: Mapping[str, Requirement], steps: Iterable[StepPlan]) -> Iterator[tuple[str, str]]:
    """('file:line', sentence) of each requirement that no run of the plan can prove."""
    proving: dict[str, list[StepPlan]] = {}
    for step in steps:
        for name in step.proves:
            proving.setdefault(name, []).append(step)
    for name, requirement in promised.items():
        if name not in proving:
            yield place_text(requirement.place), f"no step proves the requirement '{name}': add proves: {name} to one"
        elif not any(each.limit_names for each in every_step(proving[name])):
            yield place_text(requirement.place), f"no step that proves the requirement '{name}' has a limit: add one"
