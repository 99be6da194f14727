"""All faults of a device: each exists, has a name of its own, and is found again by it."""

from __future__ import annotations

import pytest

from benchrig.errors import UsageError
from benchrig.faults.fault import Scene
from benchrig.faults.holding import misfits
from benchrig.faults.registry import fault_named, faults_of, pairs
from tests.radio.virtual.bench import models
from tests.run.kit import DEVICES

SHIPPED = sorted(path.stem for path in DEVICES.glob("*.yaml"))


def scene(name: str) -> Scene:
    return Scene(
        tuple(models((DEVICES / f"{name}.yaml").read_text("utf-8").replace("../names", str(DEVICES / "../names"))))
    )


@pytest.mark.parametrize("name", SHIPPED)
def test_every_fault_makes_another_device_that_a_file_can_hold(name: str) -> None:
    sound = scene(name)
    found = faults_of(sound)
    assert len({fault.name for fault in found}) == len(found)
    for fault in found:
        broken = fault.scene(sound)
        assert broken != sound
        assert list(misfits(broken.unit)) == []


def test_a_fault_by_its_name() -> None:
    sound = scene("logger")
    assert fault_named(sound, "temperature: missing").scene(sound) == _first(sound, "temperature: missing").scene(sound)
    both = fault_named(sound, "temperature: missing + humidity: no read")
    assert both.name == "temperature: missing + humidity: no read"
    with pytest.raises(UsageError) as error:
        fault_named(sound, "temperature: mising")
    assert "'temperature: missing'" in error.value.advice


def _first(sound: Scene, name: str):
    return next(fault for fault in faults_of(sound) if fault.name == name)


def test_pairs_are_the_same_again_and_of_different_things() -> None:
    sound = scene("logger")
    drawn = pairs(sound, 30, 7)
    assert [pair.name for pair in pairs(sound, 30, 7)] == [pair.name for pair in drawn]
    assert [pair.name for pair in pairs(sound, 30, 8)] != [pair.name for pair in drawn]
    assert len({pair.name for pair in drawn}) == 30
    for pair in drawn:
        one, other = pair.name.split(" + ")
        assert one.split(": ")[0] != other.split(": ")[0]
        assert pair.scene(sound) not in (sound, fault_named(sound, one).scene(sound))
