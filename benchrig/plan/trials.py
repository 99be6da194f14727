"""Values that a step may be given: tried before the run, one after the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, cast

from benchrig.plan.checks import check_files, check_readings
from benchrig.plan.given import GivenValues
from benchrig.plan.inner import readings_of
from benchrig.plan.limit_sets import inserted_under
from benchrig.plan.substitution import Room, substitute
from benchrig.plan.tree import StepPlan
from benchrig.plan.variants import Variants
from benchrig.source.problem import Place, Problem, Problems
from benchrig.source.references import as_text, references
from benchrig.source.shape import BAD, Reader
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Node, Scalar

# Of the values of a list so many are tried in each step.
_MOST = 100


@dataclass
class Trials:
    """Of the steps of one plan. What is wrong with values that this run does not take, or takes in some round, is told in
    the end."""

    problems: Problems
    given: GivenValues
    variants: Variants
    # where the plan is
    folder: Path
    _found: dict[tuple[Place, str], tuple[str, str]] = field(default_factory=dict)

    def rows(self, step: StepPlan, used: set[str], limits: Mapping[str, Node]) -> None:
        """See whether the rows that this run does not take would fit, too, with the `limits` of a set in their places."""
        for row, values in self.variants.others(used):
            tried = replace(step, node=inserted_under(step.node, limits, self.variants, values))
            scalars = {name: part.value for name, part in values.items() if isinstance(part, Scalar)}
            self._try_one(tried, scalars, row)

    def listed(self, step: StepPlan, listed: Mapping[str, Sequence[Any]], limits: Mapping[str, Node]) -> None:
        """See whether the values fit that a step around it lists."""
        tried = replace(step, node=inserted_under(step.node, limits, self.variants))
        for name, value in ((name, value) for name, values in listed.items() for value in values[:_MOST]):
            self._try_one(tried, {name: value}, f"{name}: {as_text(value)}")

    def _try_one(self, step: StepPlan, values: Mapping[str, Any], said: str) -> None:
        """With these values beside the given ones; `said` names them."""
        for each in self._misfits(step, {**self.given.open, **values}):
            self._found.setdefault((each.place, each.message), (said, each.advice))

    def tell(self) -> None:
        """What is wrong with the rows that this run does not take alone."""
        said = {(each.place, each.message) for each in self.problems.found}
        for (place, message), (row, advice) in self._found.items():
            if (place, message) not in said:
                self.problems.add(place, f"{message} ({row})", advice)

    def secrets(self, step: StepPlan) -> None:
        """See whether the secret values fit, and say no more than that."""
        node = step.node
        values = self.given.values
        used = sorted(self.given.secrets & values.keys() & {name for name, _ in references(node)})
        others = {name: value for name, value in values.items() if name not in used}
        if used and len(self._misfits(step, values)) > len(self._misfits(step, others)):
            message = f"the secret value {used[0]} does not fit where it is used"
            self.problems.add(node.place, message, "give another value, or use it elsewhere")

    def _misfits(self, step: StepPlan, values: Mapping[str, Any]) -> list[Problem]:
        """What would be wrong with these values."""
        problems = Problems()
        tried = cast("MappingNode", substitute(step.node, values, Room(problems), partly=True))
        model = Reader(problems).read(tried, step.kind)
        if model is not BAD:
            check_readings(problems, tried, model, partial(readings_of, replace(step, node=tried, step=model)))
            check_files(problems, tried, model, self.folder)
        return problems.found
