"""Which air: device files, the option, the record."""

import pytest

from benchrig.errors import PlanError, UsageError
from benchrig.radio.specify import RadioChoice, radio_opener
from benchrig.radio.virtual import conditions_of, load_devices
from benchrig.radio.virtual.air_spec import AirChoice
from benchrig.radio.virtual.conditions import CROWDED, FAR, ROUGH
from benchrig.source.problem import Problems
from benchrig.source.shape import Misfit
from tests.radio.virtual.bench import models, problems_of


@pytest.mark.parametrize(
    ("air", "conditions"), [("kind", None), ("rough", ROUGH), ("crowded", CROWDED), ("far", FAR), ("{}", ROUGH)]
)
def test_an_air_by_name(air, conditions):
    assert conditions_of(models(f"device: one\nair: {air}\n")) == conditions
    assert conditions_of(models(f"devices: [{{device: one}}]\nair: {air}\n")) == conditions


def test_no_air_is_the_kind_one():
    assert conditions_of(models("device: one")) is None


def test_an_air_with_its_own_numbers():
    text = "{like: crowded, loss: 10 %, clock: 100 ppm, level: -80 dBm, capture: 6 dB, others_interval: 2 s, fading: 0}"
    found = conditions_of(models(f"device: one\nair: {text}\n"))
    assert (found.loss, found.clock, found.level, found.capture) == (0.1, 1e-4, -80.0, 6.0)
    assert (found.others_interval, found.fading, found.others) == (2.0, 0.0, CROWDED.others)
    assert found.name == "crowded, changed"


@pytest.mark.parametrize(
    ("air", "problem"),
    [
        ("ruogh", "2:6 unknown air 'ruogh'"),
        ("[rough]", "2:6 unknown air 'a list'"),
        ("{loss: 200 %}", "2:13 a share is 0 % to 100 %, found 200 %"),
        ("{packets: 0}", "2:16 expected 1 or more, found 0"),
        ("{capture: -1 dB}", "2:16 expected 0 dB or more, found -1 dB"),
        ("{others: 1000000}", "2:15 0 to 10000 units, found 1000000"),
        ("{others_interval: 1 ms}", "2:24 an advertising interval is at least 20 ms, found 1 ms"),
    ],
)
def test_what_is_no_air(air, problem):
    assert problems_of(f"device: one\nair: {air}\n") == [problem]


def test_the_devices_of_a_file_are_in_one_air():
    [problem] = problems_of("devices: [{device: one, air: rough}]")
    assert "one air is around all devices of a file" in problem


def files(folder, *airs):
    for number, air in enumerate(airs):
        (folder / f"{number}.yaml").write_text(f"device: unit {number}\nair: {air}\n")
    return [folder / f"{number}.yaml" for number in range(len(airs))]


def test_two_files_that_ask_for_two_airs(tmp_path):
    problems = Problems()
    load_devices(files(tmp_path, "rough", "crowded"), problems)
    assert [problem.message for problem in problems.found] == ["another device file asks for another air"]


def test_the_option_goes_before_the_files(tmp_path):
    two = ",".join(map(str, files(tmp_path, "rough", "crowded")))
    radio_opener(RadioChoice.parse(f"virtual:{two}", air="kind"))
    with pytest.raises(PlanError):
        radio_opener(RadioChoice.parse(f"virtual:{two}"))
    assert conditions_of(models("device: one\nair: rough\n"), "kind") is None


def test_an_air_goes_with_a_virtual_radio():
    with pytest.raises(UsageError, match="--air goes with a virtual radio"):
        RadioChoice.parse("host", air="rough")
    with pytest.raises(Misfit):
        AirChoice.named("thin")


@pytest.mark.parametrize("air", [None, "rough"])
async def test_a_radio_says_which_air_it_has(tmp_path, air):
    [file] = files(tmp_path, "kind")
    radio = await radio_opener(RadioChoice.parse(f"virtual:{file}", air=air))()
    assert radio.facts.get("air") == air
    await radio.close()
