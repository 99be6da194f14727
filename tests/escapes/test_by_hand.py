"""The units that were broken by hand are there, are different, and open as devices."""

from __future__ import annotations

import pytest

from benchrig.radio.virtual.device_file import devices_of
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.source.problem import Problems
from benchrig.source.yaml import read_bytes
from tests.escapes.broken import DEVICES, PRODUCTS, Broken, broken, edited, sound

UNITS = [unit for product in PRODUCTS for unit in broken(product)]


def opened(product: str, text: str) -> DeviceSpec:
    """The one device of this text, read as if it stood in the place of the product's own file."""
    problems = Problems()
    node = read_bytes(text.encode(), str(DEVICES / f"{product}.yaml"), problems, "")
    assert node is not None
    (device,) = devices_of(node, problems)
    problems.raise_if_any()
    assert isinstance(device, DeviceSpec)
    return device


def test_there_are_forty() -> None:
    assert [len(broken(product)) for product in PRODUCTS] == [20, 20]


def test_each_has_a_sentence_of_its_own() -> None:
    assert len({unit.fault for unit in UNITS}) == len(UNITS)
    assert len({(unit.product, unit.text) for unit in UNITS}) == len(UNITS)
    assert all(unit.fault.endswith(".") and "\n" not in unit.fault for unit in UNITS)


@pytest.mark.parametrize("unit", UNITS, ids=[unit.fault for unit in UNITS])
def test_it_opens_and_is_not_the_sound_one(unit: Broken) -> None:
    assert opened(unit.product, unit.text) != opened(unit.product, sound(unit.product))


@pytest.mark.parametrize("old", ["absent", "twice"])
def test_an_edit_has_one_place(old: str) -> None:
    assert edited("once, twice, twice", "once", "1") == "1, twice, twice"
    with pytest.raises(ValueError, match="not once"):
        edited("once, twice, twice", old, "")
