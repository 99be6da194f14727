"""All faults of a device: each exists, has a name of its own, is found again by it, and is a device file."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from benchrig.errors import UsageError
from benchrig.faults.fault import Fault, Scene
from benchrig.faults.holding import misfits
from benchrig.faults.registry import fault_named, faults_of, pairs
from tests.faults.small import scene_of
from tests.fuzz import mutate
from tests.radio.virtual.test_writing import devices_in, read_back
from tests.run.kit import DEVICES

UNITS = Path(__file__).parents[1] / "requirements" / "units"
FILES = sorted([*DEVICES.glob("*.yaml"), *UNITS.glob("*.yaml")])
SAMPLED = 60  # each so manieth is written and read in the default suite


SENSOR = scene_of(DEVICES / "sensor.yaml")


def hold(sound: Scene, found: list[Fault], every: int) -> None:
    """Names are unique, and each fault is another device, which is read as it was written."""
    assert len({fault.name for fault in found}) == len(found)
    for at, fault in enumerate(found):
        broken = fault.scene(sound)
        assert broken != sound, fault.name
        assert list(misfits(broken.unit)) == [], fault.name
        if at % every == 0:
            assert read_back(broken.unit) == broken.unit, fault.name


FEW = [path for path in FILES if path.stem in ("sensor", "tag")]
# What makes faults of these makes those of the others: of them each so manieth is read.
WHOLE, OF_OTHERS = ("secure_logger", "transport_box"), 8


@pytest.mark.parametrize("path", FEW, ids=lambda path: path.stem)
def test_every_fault_is_another_device_that_a_file_holds(path: Path) -> None:
    sound = scene_of(path)
    hold(sound, faults_of(sound), SAMPLED)


@pytest.mark.slow
@pytest.mark.timeout(600)
@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_faults_are_read_as_they_were_written(path: Path) -> None:
    sound = scene_of(path)
    found = faults_of(sound)
    hold(sound, found, 1 if path.stem in WHOLE else OF_OTHERS)
    assert [fault.name for fault in faults_of(sound)] == [fault.name for fault in found]


@pytest.mark.slow
def test_faults_of_devices_that_are_drawn() -> None:
    draw(1, 1)


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_faults_of_many_devices_that_are_drawn() -> None:
    draw(20, 2)


def draw(count: int, seed: int) -> None:
    """Mutated device files that are sound."""
    chance, texts = random.Random(seed), [path.read_bytes() for path in FILES if b"use:" not in path.read_bytes()]
    drawn = 0
    while drawn < count:
        text = mutate.text(chance, chance.choice(texts).decode("utf-8"))
        for device in devices_in(text.encode("utf-8", "replace"))[:1]:
            sound = Scene((device,))
            hold(sound, faults_of(sound), 1000)
            drawn += 1


def test_a_fault_by_its_name() -> None:
    found = {fault.name: fault for fault in faults_of(SENSOR)}
    for name in [*found][::150]:
        assert fault_named(SENSOR, name).scene(SENSOR) == found[name].scene(SENSOR)
    both = fault_named(SENSOR, "samples: missing + command: no read")
    assert (both.name, both.weight) == ("samples: missing + command: no read", "serious")
    with pytest.raises(UsageError) as error:
        fault_named(SENSOR, "samples: mising")
    assert "'samples: missing'" in error.value.advice


def test_two_attributes_of_one_name_are_told_apart_by_their_path() -> None:
    (device,) = devices_in(TWINS)
    names = [
        fault.name for fault in faults_of(Scene((device,)), families=["table"]) if "service: missing" in fault.name
    ]
    assert names == ["0000180f-0000-1000-8000-00805f9b34fb battery service: missing",
                     "0000180f-0000-1000-8000-00805f9b34fb[1] battery service: missing"]  # fmt: skip


TWINS = b"""
device: twins
services:
  - {service: battery, characteristics: [{characteristic: battery level, properties: [read], value: 90 %}]}
  - {service: battery, characteristics: [{characteristic: 2A6F, name: x, properties: [read], value: 9 %}]}
"""


def test_one_family_alone() -> None:
    assert {fault.family for fault in faults_of(SENSOR, families=["table", "value"])} == {"table", "value"}


def test_pairs_are_the_same_again_and_of_different_things() -> None:
    drawn = pairs(SENSOR, 12, 7)
    assert [pair.name for pair in pairs(SENSOR, 12, 7)] == [pair.name for pair in drawn]
    assert [pair.name for pair in pairs(SENSOR, 12, 8)] != [pair.name for pair in drawn]
    assert len({pair.name for pair in drawn}) == 12
    found = {fault.name: fault for fault in faults_of(SENSOR)}
    for pair in drawn:
        one, other = pair.name.split(" + ")
        assert one.split(": ")[0] != other.split(": ")[0]
        assert pair.scene(SENSOR) not in (SENSOR, found[one].scene(SENSOR), found[other].scene(SENSOR))


def test_more_pairs_than_there_are() -> None:
    (device,) = devices_in(b"device: alone\ngeneric_access: false\nadvertising: {connectable: false}")
    drawn = pairs(Scene((device,)), 5, 1)
    assert len(drawn) <= 5
