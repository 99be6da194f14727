"""What a plan asks of a radio that does not offer it: found without opening the radio."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from benchrig.plan.model import Plan, StepPlan, place_text
from benchrig.source.yaml import Mapping as MappingNode
from benchrig.source.yaml import Scalar


def remarks(
    plan: Plan, lacks: Mapping[str, str], may_fail: Mapping[tuple[str, str, Any], str]
) -> Iterator[tuple[str, str]]:
    """('file:line', sentence) for each. `lacks` and `may_fail` as in radio/offers.py."""
    for step in plan.steps:
        yield from _not_judged(step, lacks)
        yield from _not_everywhere(step, may_fail)


def _not_judged(step: StepPlan, lacks: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    expected = step.node.get("expect")
    for name in expected.entries if isinstance(expected, MappingNode) else ():
        if why := lacks.get(f"{step.kind.verb}.{name}"):
            yield step.limit_place(name), f"the limit on {name} is not judged: {why}"


def _not_everywhere(step: StepPlan, may_fail: Mapping[tuple[str, str, Any], str]) -> Iterator[tuple[str, str]]:
    for (verb, key, value), why in may_fail.items():
        node = step.node.get(key)
        if verb == step.kind.verb and isinstance(node, Scalar) and node.value == value:
            yield place_text(node.place), f"'{key}: {node.text}' does not work everywhere: {why}"
