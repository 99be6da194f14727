"""A changed device as a function from one specification to another."""

import pytest

from benchrig.faults.mutation import Mutation, added, behaving, dropped, in_turn, replaced, within
from benchrig.radio.virtual.behaviour import When
from benchrig.radio.virtual.behaviours import Silent
from benchrig.source.shape import Misfit
from tests.radio.virtual.bench import OWN, models

[TWINS] = models(
    f"""
device: twins
services:
  - service: battery
    characteristics:
      - {{characteristic: battery level, properties: [read], value: 90 %}}
  - service: battery
    characteristics:
      - {{characteristic: battery level, name: second, properties: [read], value: 80 %,
          descriptors: [{{descriptor: '2901', value: A}}]}}
      - {{characteristic: {OWN(2)}, as: uint8, properties: [read], value: 1}}
"""
)


def levels(device):
    return [[one.value for one in service.characteristics] for service in device.services]


@pytest.mark.parametrize(
    ("path", "change", "expected"),
    [
        ("battery/battery level", replaced(value="5 %"), [["5 %"], ["80 %", 1]]),
        ("battery[1]/battery level", replaced(value="5 %"), [["90 %"], ["5 %", 1]]),
        ("180F[1]/2A19", dropped, [["90 %"], [1]]),
        ("battery[1]", dropped, [["90 %"]]),
        ("battery[1]", added(TWINS.services[0].characteristics[0]), [["90 %"], ["80 %", 1, "90 %"]]),
        ("", added(TWINS.services[0]), [["90 %"], ["80 %", 1], ["90 %"]]),
        ("", in_turn(Mutation("", "battery[1]", dropped).apply, Mutation("", "battery", dropped).apply), []),
    ],
)
def test_a_change_where_it_belongs_and_nowhere_else(path, change, expected):
    assert levels(Mutation("a change", path, change).apply(TWINS)) == expected
    assert levels(TWINS) == [["90 %"], ["80 %", 1]]


def test_a_descriptor_and_a_block():
    renamed = Mutation("", "battery[1]/battery level/user description", replaced(value="B")).apply(TWINS)
    assert renamed.services[1].characteristics[0].descriptors[0].value == "B"
    hidden = Mutation("", "", within("advertising", replaced(connectable=False))).apply(TWINS)
    assert (hidden.advertised.connectable, TWINS.advertised.connectable) == (False, True)


def test_a_further_behaviour():
    silent = Silent(when=When(every=3))
    changed = Mutation("", f"battery[1]/{OWN(2)}", behaving("on_read", silent)).apply(TWINS)
    assert changed.services[1].characteristics[1].on_read.behaviours == (silent,)
    assert TWINS.services[1].characteristics[1].on_read.behaviours == ()


@pytest.mark.parametrize("path", ["battery[2]", "heart rate", "battery/heart rate", "battery/battery level/2901"])
def test_a_path_that_leads_nowhere(path):
    with pytest.raises(Misfit):
        Mutation("", path, dropped).apply(TWINS)
