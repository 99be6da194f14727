"""One run in memory."""

from __future__ import annotations

from dataclasses import replace

from benchrig.escapes.trial import trial
from benchrig.faults.fault import Fault, Scene, on_unit, together
from benchrig.faults.mutation import Mutation, replaced
from benchrig.plan.loader import load_plan
from benchrig.run.unattended import Unattended
from tests.radio.virtual.bench import models
from tests.run.kit import DEVICES, LINE

PLAN = load_plan(LINE, {})
SOUND = Scene(tuple(models((DEVICES / "logger.yaml").read_text("utf-8"))))
LOW = Fault(
    "battery level: low",
    "value",
    "The battery is nearly empty.",
    on_unit(Mutation("", "battery/battery level", replaced(value="7 %"))),
)
OTHER = Fault(
    "model number: other",
    "value",
    "It says that it is another model.",
    on_unit(Mutation("", "device information/model number", replaced(value="VFL4"))),
    weight="grave",
)


def failed(scene: Scene) -> list[str]:
    record = trial(PLAN, scene, Unattended())
    return [each.planned.name for each in record.steps if each.ended and each.ended.verdict == "fail"]


def test_the_sound_scene_passes_and_a_broken_one_fails_where_it_is_broken() -> None:
    assert failed(SOUND) == []
    assert failed(LOW.scene(SOUND)) == ["read battery level"]


def test_two_faults_at_once() -> None:
    both = together(LOW, OTHER)
    assert (both.name, both.weight) == ("battery level: low + model number: other", "grave")
    assert failed(both.scene(SOUND)) == ["read model number", "read battery level"]


def test_the_radio_is_given_to_what_befalls_it() -> None:
    seen: list[str] = []
    trial(PLAN, replace(SOUND, befalls=(lambda radio: seen.append(radio.name),)), Unattended())
    assert seen == ["virtual"]
