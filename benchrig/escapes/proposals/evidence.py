"""What drafts are made from: the sound device, and other good units where its file says how these differ."""

from __future__ import annotations

from dataclasses import replace

from benchrig.desk.desk import DeskOptions
from benchrig.desk.running import run_desk
from benchrig.draft.evidence import Evidence, KnownUnit
from benchrig.draft.from_devices import Collecting, collect
from benchrig.escapes.proposals.ground import Ground
from benchrig.faults.fault import Scene
from benchrig.plan.model import Plan
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual.spread import Unit
from benchrig.steps.attribute import Names

# So many other units: a tolerance interval of them is not much wider than that of all.
_SEEN = 10


def of_sound(ground: Ground, names: Names) -> Evidence:
    return _collected(ground.plan, ground.sound, names)


def of_good(ground: Ground, names: Names, sound: Evidence) -> Evidence:
    """That of the sound device first, then what others sent and answered: limits have to let all of them pass."""
    found = sound
    for unit in ground.units(_SEEN):
        found = _beside(found, _of_unit(ground, unit, names), f"unit {unit.number}")
    return found


def _of_unit(ground: Ground, unit: Unit, names: Names) -> Evidence:
    """On rough air where the scene names none, as it has to pass there."""
    plan = ground.loaded(ground.text, unit.labels)
    return _collected(plan, ground.scenes()[-1].with_unit(unit.device), names, unit.number)


def _beside(found: Evidence, other: Evidence, called: str) -> Evidence:
    """The file gives one address to all of them: they are told apart by what they are called here."""
    return replace(
        found,
        met=[*found.met, *(KnownUnit(called, each.name, each.address) for each in other.met)],
        looks=[*found.looks, *(replace(each, unit=called) for each in other.looks)],
        heard=[*found.heard, *(replace(each, unit=called) for each in other.heard)],
    )


def _collected(plan: Plan, scene: Scene, names: Names, seed: int = 0) -> Evidence:
    choice = RadioChoice("virtual", devices=scene.devices, air=scene.air)
    options = DeskOptions(choice, plan.selection(), names, seed=seed)
    return run_desk(options, lambda desk: collect(desk, Collecting()), lambda sentence: None)
