"""A trial that ends with the first node of the plan that did not pass: what comes after it decides nothing."""

from __future__ import annotations

from dataclasses import dataclass

from benchrig.escapes.outcome import came_to
from benchrig.escapes.results import Came
from benchrig.escapes.trial import trial
from benchrig.faults.fault import Scene
from benchrig.plan.model import Plan
from benchrig.record.events import AnyEvent, Closed
from benchrig.steps.bench import Operator


def tried(plan: Plan, scene: Scene, operator: Operator, seed: int, *, whole: bool) -> Came:
    """What the plan makes of it; `whole`: the run goes on after the first catch."""
    if not whole:
        stop = _Stop()
        record = trial(plan, scene, operator, seed=seed, enough=stop)
        through = next((at for at, node in enumerate(plan.nodes, 1) if node.id == stop.node), None)
        if record.ended is not None and not (stop.node and record.ended.cause == "operator"):
            return came_to(record, seed, through)
        # what did not pass there decides nothing without what comes after it
    return came_to(trial(plan, scene, operator, seed=seed), seed)


@dataclass
class _Stop:
    """`node` is where the run ended."""

    node: str = ""

    def __call__(self, event: AnyEvent) -> bool:
        if isinstance(event, Closed) and event.verdict in ("fail", "error") and _is_top(event.where.node):
            self.node = event.where.node
        return bool(self.node)


def _is_top(node: str) -> bool:
    """Whether it is a node of the plan itself, not of a step in it."""
    return "." not in node
