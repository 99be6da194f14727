"""What the steps of a plan notice, by step and by requirement. Pure, from results."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from benchrig.escapes.results import Catch, Coverage, RequirementCoverage, Result, StepCoverage
from benchrig.record.events import PlannedNode, PlannedRequirement


def coverage_of(nodes: Iterable[PlannedNode], requirements: Mapping[str, PlannedRequirement],
                results: Sequence[Result]) -> Coverage:  # fmt: skip
    caught = [each for each in results if each.outcome == "caught" and each.fault.family != "bench"]
    return Coverage(
        [_step(node, caught) for node in every_node(nodes) if node.counts],
        [
            RequirementCoverage(name, each.says, each.steps, sum(_notices(each.steps, result) for result in caught))
            for name, each in requirements.items()
        ],
    )


def every_node(nodes: Iterable[PlannedNode]) -> Iterator[PlannedNode]:
    """Each before those in it."""
    for node in nodes:
        yield node
        yield from every_node(node.children)


def noticed(result: Result) -> list[Catch]:
    """All that noticed it in the trial that it is told by, the first in time before the others."""
    told = result.told
    return [told.by, *told.also] if told and told.by else []


def within(node: str, step: str) -> bool:
    """Whether a node is a step, or one in it."""
    return node == step or node.startswith(f"{step}.")


def _step(node: PlannedNode, caught: Sequence[Result]) -> StepCoverage:
    first = sum(any(within(catch.node, node.id) for catch in noticed(each)[:1]) for each in caught)
    return StepCoverage(node.id, node.name, len(node.limits), sum(_notices([node.id], each) for each in caught), first)


def _notices(steps: Iterable[str], result: Result) -> bool:
    return any(within(catch.node, step) for catch in noticed(result) for step in steps)
