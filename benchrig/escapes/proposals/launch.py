"""Proposals for a hunt that is over: from its options and results to what is proposed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from benchrig.errors import PlanError, UsageError
from benchrig.escapes.launch import HuntOptions, chosen_faults, simulated_devices, sound_scene
from benchrig.escapes.proposals.ground import Ground
from benchrig.escapes.proposals.proposing import Proposals, propose
from benchrig.escapes.proposals.writing import proposals_text
from benchrig.escapes.results import Hunted, Outcome
from benchrig.plan.loader import load_plan
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.steps.bench import Operator

OPEN: tuple[Outcome, ...] = ("escaped", "by luck")


def proposed(
    options: HuntOptions,
    given: Mapping[str, str],
    hunted: Hunted,
    operator: Operator,
    tell: Callable[[str], None] = lambda sentence: None,
) -> tuple[Proposals, str]:
    """For the escapes that nobody has argued for; with them their text. UsageError for a plan with several devices, and for
    one that cannot be changed."""
    plan, sound = options.plan, sound_scene(options.radio)
    unit = next(each for each in simulated_devices(options.radio, "broken") if isinstance(each, DeviceSpec))
    if len(plan.devices) > 1:
        raise UsageError(f"{plan.path.name} has several devices", advice="leave out --propose and --take")
    names = {result.fault.name for result in hunted.of(*OPEN)}
    escaped = [fault for fault in chosen_faults(options, sound) if fault.name in names]
    text = plan.path.read_text("utf-8-sig")
    ground = Ground(plan, text, sound, operator, given, options.jobs, options.seed, unit)
    ground.check_written()
    if ground.end is None:
        tell(f"{plan.path.name} has no step in its own list after which the link is up: only limits are proposed")
    made = propose(ground, escaped, tell)
    return made, proposals_text(made, ground, len(escaped))


def check_taken(target: Path, text: str, given: Mapping[str, str], limits: Path | None = None) -> None:
    """UsageError where the plan would not be one in its new place: the files that it names are seen from there."""
    try:
        load_plan(target, given, text=text, limits=limits)
    except PlanError as error:
        message = f"the plan cannot be read as {target}: {error.problems[0].message}"
        raise UsageError(
            message, advice="write it beside the plan: the files that it uses are seen from there"
        ) from error
