"""Several devices of one plan are told apart for sure, or nobody says which is which."""

import pytest

from benchrig.errors import AmbiguousDevice, DeviceNotFound
from benchrig.radio.scan import Selection
from tests.radio.on_air import at_units
from tests.run.kit import device_text

ONE, TWO = "C4:00:00:00:00:01", "C4:00:00:00:00:02"
PRIVATE = "4A:00:00:00:00:01"  # resolvable private: it may change (Core Vol 6 Part B 1.3.2.2)
ANY, FIRST, SECOND = (Selection(name=name) for name in ("unit*", "unit 1", "unit 2"))


def found(tmp_path, selections, order, *addresses):
    """The addresses of units with these selections, looked for in an order; an error ends it."""

    async def work(units):
        return [(await units[number].find(0.3, 1.0)).address for number in order]

    return at_units(work, tmp_path, selections, *devices(*addresses))


def devices(*addresses):
    return [device_text(name=f"unit {number}", address=each) for number, each in enumerate(addresses, 1)]


def test_selections_that_fit_one_device_each(tmp_path):
    assert found(tmp_path, [FIRST, SECOND], [1, 0], ONE, TWO) == [TWO, ONE]


@pytest.mark.parametrize("order", [[0, 1, 0], [1, 0, 1]])
def test_a_device_that_is_selected_by_its_address_is_no_other(tmp_path, order):
    assert found(tmp_path, [Selection(address=ONE), ANY], order, ONE, TWO) == [(ONE, TWO)[number] for number in order]


@pytest.mark.parametrize("order", [[0, 1], [1]])
def test_one_device_is_not_taken_for_two(tmp_path, order):
    with pytest.raises(DeviceNotFound):
        found(tmp_path, [Selection(address=ONE), ANY], order, ONE)


@pytest.mark.parametrize("order", [[1, 0], [0, 1]])
def test_a_device_that_fits_both_is_ambiguous(tmp_path, order):
    with pytest.raises(AmbiguousDevice, match=r"selections of device \d and device \d"):
        found(tmp_path, [ANY, ANY], order, ONE)


def test_what_may_be_the_first_one_under_its_next_address_is_not_the_second(tmp_path):
    async def work(units):
        await units[0].find(0.3, 1.0)
        units[0].selection = ANY  # as wide as it may be written
        await units[1].find(0.3, 1.0)

    with pytest.raises(AmbiguousDevice, match=r"selections of device \d and device \d"):
        at_units(work, tmp_path, [FIRST, SECOND], *devices(PRIVATE, TWO))
