"""The fate of every planned limit: passed, failed or not judged, each once, in the rounds too that are not on record one by
one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING

from benchrig.record.events import Fates, worst

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from benchrig.record.events import PlannedNode, RoundsLeft, StepTally
    from benchrig.record.model import Execution, Record


def unaccounted(record: Record) -> list[str]:
    """What is wrong with the limits of a run that came to its verdict, in sentences; [] when each planned one has just
    one fate and the counts of the verdict are theirs."""
    if record.ended is None:
        return []
    steps, planned = record.executions, _by_id(record.run.nodes)
    wrong = [sentence for step in steps for sentence in (*_of_step(step), *_of_rounds(step, planned))]
    judged, left = fates_of(record)
    said = (record.ended.judged, record.ended.not_judged)
    if said != (judged, left):
        wrong.append(f"the verdict counts {said[0]} judged and {said[1]} not judged, the steps {judged} and {left}")
    # a composite step is no better than what is in it, unless a limit of it decides
    came_to = worst(node.counts_as for node in record.nodes)
    if record.ended.verdict == "pass" and came_to != "pass":
        wrong.append(f"the run passed, but a step came to {came_to}")
    if record.ended.planned != judged + left:
        wrong.append(f"{record.ended.planned} limits were planned, {judged + left} have a fate")
    return wrong


def fates_of(record: Record) -> tuple[int, int]:
    """How many limits were judged, and how many were not."""
    steps = record.executions
    counted = sum((fates for tally in tallies(steps) for fates in tally.limits.values()), Fates())
    judged = sum(r.judgement is not None for step in steps for r in step.readings) + counted.passed + counted.failed
    return judged, sum(len(step.not_judged) for step in steps) + counted.not_judged


def tallies(steps: Iterable[Execution]) -> Iterator[StepTally]:
    """What is counted of the rounds that are not on record one by one."""
    return (tally for step in steps if step.left for tally in step.left.steps)


def _by_id(nodes: Iterable[PlannedNode]) -> dict[str, PlannedNode]:
    found = {}
    for node in nodes:
        found[node.id] = node
        found |= _by_id(node.children)
    return found


def _of_step(step: Execution) -> list[str]:
    fates = Counter(r.name for r in step.readings if r.judgement is not None)
    fates.update(limit.name for limit in step.not_judged)
    names = dict.fromkeys([*step.planned.limits, *fates])
    planned = Counter(step.planned.limits)
    return [
        f"step {step.where.label}: the limit on {name} has {fates[name]} fates, planned are {planned[name]}"
        for name in names
        if fates[name] != planned[name]
    ]


def _of_rounds(step: Execution, planned: Mapping[str, PlannedNode]) -> Iterator[str]:
    """Every round of a repetition is on record or counted, and in each counted one every step and limit."""
    left, numbers = step.left, {child.where.rounds[-1] for child in step.children if step.planned.role == "repeat"}
    gone = max(numbers, default=0) - len(numbers)
    if gone != (left.rounds if left else 0):
        yield f"step {step.where.label}: {gone} rounds are not on record, {left.rounds if left else 0} are counted"
    if left is not None:
        yield from _of_left(step, left, planned)


def _of_left(step: Execution, left: RoundsLeft, planned: Mapping[str, PlannedNode]) -> Iterator[str]:
    counted = {tally.node: tally for tally in left.steps}
    for node in _in_each_round(step.planned.children):
        if (count := sum(counted[node.id].verdicts.values()) if node.id in counted else 0) != left.rounds:
            yield f"step {node.id} ended {count} times in {left.rounds} rounds of step {step.where.label}"
    for tally in left.steps:
        yield from _of_tally(tally, planned[tally.node])


def _in_each_round(nodes: Iterable[PlannedNode]) -> Iterator[PlannedNode]:
    """The steps that every round has once: those of a repetition inside have rounds of their own."""
    for node in nodes:
        yield node
        if node.role != "repeat":
            yield from _in_each_round(node.children)


def _of_tally(tally: StepTally, node: PlannedNode) -> Iterator[str]:
    times = sum(tally.verdicts.values())
    for name in dict.fromkeys([*node.limits, *tally.limits]):
        fates = tally.limits.get(name, Fates())
        ends, due = fates.passed + fates.failed + fates.not_judged, times * node.limits.count(name)
        if ends != due:
            yield f"step {tally.node}, {times} times: the limit on {name} has {ends} fates, planned are {due}"
