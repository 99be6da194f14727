"""Plans that run other programs, where a run is only tried on a simulated device: real things must not move unasked."""

from __future__ import annotations

from typing import TYPE_CHECKING

from benchrig.errors import UsageError

if TYPE_CHECKING:
    from benchrig.plan.model import Plan

_SHOWN = 3


def check_programs(plan: Plan, often: str, *, acknowledge: bool) -> None:
    """UsageError for a plan with `command` or `call` steps, which would run as `often`, unless that is wanted."""
    foreign = [step for step in plan.steps if step.kind.executes]
    if foreign and not acknowledge:
        names = ", ".join(f"{step.id} {step.called}" for step in foreign[:_SHOWN])
        raise UsageError(
            f"{plan.path.name} runs other programs (step {names}), which would run {often}",
            advice="add --acknowledge if they may",
        )
