"""The fate of every planned limit: passed, failed or not judged, each once."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from benchrig.record.model import worst

if TYPE_CHECKING:
    from benchrig.record.model import Execution, Record


def unaccounted(record: Record) -> list[str]:
    """What is wrong with the limits of a run that came to its verdict, in sentences; [] when each planned one has just
    one fate and the counts of the verdict are theirs."""
    if record.ended is None:
        return []
    steps = record.executions
    wrong = [sentence for step in steps for sentence in _of_step(step)]
    judged = sum(r.judgement is not None for step in steps for r in step.readings)
    left = sum(len(step.not_judged) for step in steps)
    said = (record.ended.judged, record.ended.not_judged)
    if said != (judged, left):
        wrong.append(f"the verdict counts {said[0]} judged and {said[1]} not judged, the steps {judged} and {left}")
    # a composite step is no better than what is in it, unless a limit of it decides
    came_to = worst(node.ended.counts_as for node in record.nodes if node.ended)
    if record.ended.verdict == "pass" and came_to != "pass":
        wrong.append(f"the run passed, but a step came to {came_to}")
    if record.ended.planned != judged + left:
        wrong.append(f"{record.ended.planned} limits were planned, {judged + left} have a fate")
    return wrong


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
