"""All faults, in any number of processes."""

from __future__ import annotations

import os
import random
from dataclasses import replace
from pathlib import Path

import pytest

from benchrig import workers
from benchrig.escapes.hunting import Hunt, Hunting, NotSound
from benchrig.escapes.launch import sound_scene
from benchrig.escapes.results import About, Came, Catch, Hunted, Result, from_json, is_wrong, order, to_json
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.registry import faults_of
from benchrig.plan.loader import load_plan
from benchrig.radio.specify import RadioChoice
from benchrig.run.unattended import Unattended
from tests.escapes import kit
from tests.escapes.kit import ALL, GONE, HOT, NO_SENSING, WET, hunt, results
from tests.run.kit import DEVICES, PLANS

OUTCOMES = {
    HOT.name: "caught",
    WET.name: "caught",
    GONE.name: "caught",
    NO_SENSING.name: "caught",
    kit.LOW.name: "escaped",
    kit.FOREIGN.name: "harmless",
    kit.NOTHING.name: "not applicable",
    kit.SHAMED.name: "blamed wrongly",
}


def test_each_fault_has_its_outcome_in_the_order_of_weight_whatever_the_processes(tmp_path: Path) -> None:
    one = results(tmp_path)
    assert {each.fault.name: each.outcome for each in one} == OUTCOMES
    assert [each.fault.name for each in one] == [each.name for each in sorted(ALL, key=order)]
    assert one == results(tmp_path, ALL[::-1], jobs=3)
    assert {"grave"} == {each.fault.weight for each in one[:2]}


def test_on_the_rough_air_too(tmp_path: Path) -> None:
    rough = replace(hunt(tmp_path, seeds=(3, 4)), sound=replace(kit.sound(tmp_path), air="rough"))
    rough.prove()
    assert {each.fault.name: each.outcome for each in Hunting(rough, ALL).run()} == OUTCOMES


def test_who_caught_it_and_what_else_would_have(tmp_path: Path) -> None:
    [first] = results(tmp_path, [NO_SENSING])
    [whole] = results(tmp_path, [NO_SENSING], whole=True)
    missing = Catch("3", "read temperature", "", "device", "the device has no attribute 'temperature'")
    assert (first.by, whole.by) == (missing, missing)
    [alone], [to_the_end] = first.trials, whole.trials
    assert (alone.also, [(each.node, each.cause) for each in to_the_end.also]) == ([], [("4", "device")])
    assert (alone.through, to_the_end.through, alone.elapsed) == (3, 4, to_the_end.elapsed)


def test_the_limit_that_broke_first_is_named(tmp_path: Path) -> None:
    [result] = results(tmp_path, [WET])
    assert result.by == Catch("4", "read humidity", "value", "limit", "70 % is above the maximum 60 % by 10 %")


@pytest.mark.parametrize("cause", ["internal", "plan", "station", "operator"])
def test_what_is_blamed_on_benchrig_plan_or_station_is_blamed_wrongly(cause: str) -> None:
    assert is_wrong(About.of(HOT), Catch("1", "", "", cause, ""))  # type: ignore[arg-type]


def test_a_fault_that_the_plan_notices_now_and_then_is_caught_by_luck(tmp_path: Path) -> None:
    passed = {(HOT.name, 1): Came(1, "pass", 1.0, 4)}
    lucky = Hunting(hunt(tmp_path, seeds=(0, 1)), [HOT], passed).run()
    assert [(each.outcome, each.passed_with, each.by) for each in lucky] == [("by luck", [1], None)]


def test_the_sound_device_has_to_pass_first(tmp_path: Path) -> None:
    hunt(tmp_path).prove()
    broken = replace(hunt(tmp_path), sound=HOT.scene(kit.sound(tmp_path)))
    with pytest.raises(
        NotSound, match=r"plan.yaml does not pass .* seed 0: step 3, read temperature \(value\): 30 °C is above"
    ):
        broken.prove()


def dying(scene: Scene) -> Scene:
    """It takes the process with it where it is opened."""
    return replace(scene, befalls=(lambda radio: os._exit(9),))


def test_a_process_that_dies_is_a_failure_of_benchrig_and_no_other_fault_is_lost(tmp_path: Path) -> None:
    dies = Fault("process: gone", "bench", "It dies.", dying)
    found = {each.fault.name: each for each in results(tmp_path, [*ALL, dies], jobs=2)}
    assert found.pop(dies.name).outcome == "failed"
    assert {name: each.outcome for name, each in found.items()} == OUTCOMES
    [alone] = results(tmp_path, [dies])
    assert (alone.outcome, alone.reason) == ("failed", "the process that ran it ended with code 9")


def test_a_change_that_raises_is_a_failure_of_benchrig(tmp_path: Path) -> None:
    def bad(scene: Scene) -> Scene:
        raise KeyError("no")

    assert [each.outcome for each in results(tmp_path, [Fault("bad", "value", "It.", bad)])] == ["failed"]


def test_a_trial_that_never_ends_is_ended(tmp_path: Path) -> None:
    def for_ever(scene: Scene) -> Scene:
        return replace(scene, befalls=(lambda radio: [None for _ in iter(int, 1)] and None,))

    hangs = Fault("radio: hangs", "bench", "It hangs.", for_ever)
    found = results(tmp_path, [hangs, HOT], patience=0.5)
    assert [(each.outcome, each.reason[:20]) for each in found] == [("caught", ""), ("failed", "was not done after 0")]


def test_an_interrupted_hunt_gives_what_there_is_and_leaves_no_process(tmp_path: Path) -> None:
    def told(result: Result) -> None:
        if result.fault.name == HOT.name:
            raise KeyboardInterrupt

    hunting = Hunting(hunt(tmp_path), ALL, told=told)
    found = hunting.run()
    assert hunting.interrupted
    assert 0 < len(found) < len(ALL)
    assert workers.multiprocessing.active_children() == []


def test_without_fork_the_work_is_done_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_fork = results(tmp_path)
    monkeypatch.setattr(workers, "can_fork", lambda: False)
    assert results(tmp_path) == with_fork


def test_results_are_json_and_back(tmp_path: Path) -> None:
    made = Hunted(1, "p", "p.yaml", "", "", "d", [], "", "", [0], {}, [], 8, results(tmp_path))
    assert from_json(to_json(made)) == made
    assert made.share == 4 / 6


@pytest.mark.slow
@pytest.mark.parametrize(("plan", "device"), [("end_of_line", "logger"), ("box_nightly", "transport_box")])
def test_a_run_that_ends_at_the_first_catch_says_the_same_as_one_that_does_not(plan: str, device: str) -> None:
    sound_one = sound_scene(RadioChoice("virtual", files=(DEVICES / f"{device}.yaml",)))
    faults = random.Random(plan).sample(faults_of(sound_one), 16)
    ended = Hunt(load_plan(PLANS / f"{plan}.yaml", {}), sound_one, Unattended(), jobs=2)
    short, whole = (Hunting(each, faults).run() for each in (ended, replace(ended, whole=True, jobs=1)))
    assert [(each.fault.name, each.outcome, each.by) for each in short] == [
        (each.fault.name, each.outcome, each.by) for each in whole
    ]
