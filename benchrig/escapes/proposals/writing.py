"""Proposals as YAML with comments: a line why each, what it catches and costs, and the steps or limits themselves."""

from __future__ import annotations

from collections.abc import Iterator

from benchrig.escapes.proposals.candidate import Choice
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.proposing import Proposals
from benchrig.plan.writing import comments
from benchrig.source.problem import counted
from benchrig.source.writing import Bare, flow, scalar

# What takes no longer than this is not noticed on a line.
LITTLE = 1.0
_NAMES = 8
_ALIKE = "The device file has no 'spread': another good unit may fail where it differs, see 'benchrig rejects'."


def proposals_text(proposals: Proposals, ground: Ground, escaped: int) -> str:
    return "\n".join(_lines(proposals, ground, escaped)) + "\n"


def _lines(proposals: Proposals, ground: Ground, escaped: int) -> Iterator[str]:
    caught = sum(len(choice.catches) for choice in proposals.choices)
    yield from comments([
        f"{counted(len(proposals.choices), 'change')} of {ground.plan.path.name} for '{ground.unit.name}': "
        f"{caught} of {counted(escaped, 'escape')} caught with all of them.",
        "Each was run: the sound device passes it, on calm air and on rough air where its file names none.",
        "Good units that differ as the device file says pass it too." if ground.is_spread else _ALIKE,
        "Limits come from one simulated device: put in those that the product has.",
    ])  # fmt: skip
    yield f"plan: {scalar(ground.plan.path.name)}"
    yield f"device: {scalar(ground.unit.name)}"
    yield "proposals:" + ("" if proposals.choices else " []")
    for choice in proposals.choices:
        yield from _choice(choice, ground)
    for key, names, why in (
        ("left", proposals.left, "Nothing proposed here catches these."),
        ("blamed_wrongly", proposals.wrongly, "The plan with all proposals puts these on whom they are not."),
    ):
        if names:
            yield from comments([why])
            yield f"{key}:"
            yield from (f"  - {scalar(name)}" for name in names)


def _choice(choice: Choice, ground: Ground) -> Iterator[str]:
    candidate, seconds = choice.candidate, choice.cost.seconds
    yield from comments([candidate.why], 2)
    yield f"  - change: {scalar(candidate.title)}"
    yield f"    catches: {len(choice.catches)}"
    yield f"    faults: {flow(choice.catches[:_NAMES])}" + (" # and more" if len(choice.catches) > _NAMES else "")
    yield f"    costs: {scalar(Bare(f'{seconds:g} s'))}"
    yield f"    suits: {'any plan' if seconds <= LITTLE else 'a plan that has the time'}"
    if candidate.needs:
        yield f"    needs: {scalar(candidate.needs)}"
    for limit in candidate.limits:
        yield f"    step: {scalar(ground.step(limit.step).name)}"
        yield f"    expect: {flow(limit.limits)}"
    if candidate.keys:
        yield f"    step: {scalar(ground.step(candidate.keys[0].step).name)}"
        yield f"    keys: {flow({key.key: key.value for key in candidate.keys})}"
    if candidate.steps:
        yield "    steps:"
        for step in candidate.steps:
            yield from step.lines(6)
