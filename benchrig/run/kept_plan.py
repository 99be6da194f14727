"""A plan that a run leaves in its folder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from benchrig.files import write_whole
from benchrig.plan.writing import PlanText, StepText
from benchrig.radio.scan import Selection

if TYPE_CHECKING:
    from benchrig.plan.model import Plan
    from benchrig.radio.unit import Unit
    from benchrig.steps.attribute import Names
    from benchrig.steps.bench import WrittenStep


_KEY_LEFT_OUT = (
    "the identity key is secret and left out: add identity_key, or a name, to find a unit that changes its address"
)


def keep_plan(
    plan: Plan, unit: Unit, names: Names, folder: Path, name: str, title: str, steps: Sequence[WrittenStep]
) -> str:
    """Write a plan for the unit of this one; the name of its file."""
    written = [
        StepText(step.verb, step.subject, dict(step.keys), list(step.remarks), dict(step.expect)) for step in steps
    ]
    reasons = [_KEY_LEFT_OUT] if unit.selection.key else []
    selection = _selection(plan, unit)
    text = PlanText(f"{title} ({plan.name})", selection, names.aliases, written, plan.caution, reasons=reasons).text
    path = _free(folder, name)
    write_whole(path, text.encode())
    return path.name


def _selection(plan: Plan, unit: Unit) -> Selection:
    """As in the plan, without what is secret: a key, and whatever a secret value may be in."""
    open_ = replace(unit.selection, key=None, also=None)
    is_open = not plan.secret_names and (
        open_.name or open_.services or open_.address or open_.manufacturer is not None
    )
    identity = unit.identity
    return open_ if is_open or identity is None else Selection(address=identity.address)


def _free(folder: Path, name: str) -> Path:
    taken: Mapping[str, Path] = {path.name: path for path in folder.glob(f"{name}*.yaml")}
    number = 1
    while (found := f"{name}.yaml" if number == 1 else f"{name}-{number}.yaml") in taken:
        number += 1
    return folder / found
