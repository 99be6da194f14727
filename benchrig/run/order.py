"""Which steps have passed, for those that make no sense without them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from benchrig.plan.tree import StepPlan, every_step
from benchrig.record.events import Closed, Where
from benchrig.run.leaving import ENDED, Reason


@dataclass
class Order:
    """`named` are the steps that others wait for, by name. Of one in a repetition the latest round counts."""

    named: frozenset[str] = frozenset()
    _ends: dict[str, Closed] = field(default_factory=dict)

    @classmethod
    def of(cls, nodes: Iterable[StepPlan]) -> Order:
        return cls(frozenset(name for step in every_step(nodes) for name, _ in step.after))

    def note(self, plan: StepPlan, end: Closed) -> None:
        """Remember how a step ended."""
        if plan.name in self.named:
            self._ends[plan.name] = end

    def why_not(self, plan: StepPlan) -> Reason | None:
        """Why the step is left out for one that did not pass. What the plan left out, or this run, takes others with it."""
        for name, _ in plan.after:
            end = self._ends.get(name)
            if end is None:
                return Reason(None, f"'{name}' is not part of this run", allowed=True)
            if end.verdict != "pass":
                root = end.root if end.verdict == "skip" else end.root or end.where
                return Reason(root, f"step {end.where.label} {ENDED[end.verdict]}", end.allowed)
        return None

    @property
    def roots(self) -> set[Where]:
        return {end.root or end.where for end in self._ends.values()}
