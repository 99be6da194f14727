"""`only_after`: steps that make no sense unless others have passed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from benchrig.plan.tree import StepPlan, every_step
from benchrig.source.problem import Place, Problems, suggest


def check_order(problems: Problems, nodes: Sequence[StepPlan]) -> None:
    """A step can wait for those alone that are over before it begins."""
    if any(step.after for step in every_step(nodes)):
        _Order(problems, nodes).through(nodes)


class _Order:
    def __init__(self, problems: Problems, nodes: Sequence[StepPlan]) -> None:
        self._problems = problems
        self._all = {step.name for step in every_step(nodes)}
        self._over: dict[str, None] = {}

    def through(self, steps: Iterable[StepPlan]) -> None:
        for step in steps:
            for name, place in step.after:
                self._check(name, place)
            self.through(step.children)
            self._over[step.name] = None

    def _check(self, name: str, place: Place) -> None:
        if name in self._over:
            return
        if name in self._all:
            self._problems.add(place, f"'{name}' is not over before this step begins", "name an earlier step")
        else:
            self._problems.add(place, f"the plan has no step '{name}'", suggest(name, self._over))
