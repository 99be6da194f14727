"""The device is held on to: what makes it the same, and what happens when another one answers in its place."""

import asyncio

import pytest

from benchrig.errors import AmbiguousDevice, DeviceNotFound, WrongDevice
from benchrig.radio.identity import Identity
from benchrig.radio.scan import Selection, Sighting
from tests.radio.on_air import at_units
from tests.run.kit import device_text

# Sample data of the random address hash function: Core Vol 3 Part H, appendix D.7.
IRK = bytes.fromhex("ec0234a357c8ad05341010a60a397d9b")
RESOLVABLE = "70:81:94:0D:FB:AA"


def seen(address, kind="random"):
    return Sighting(address, kind)


UNITS = Selection(name="unit*")


def at_unit(work, tmp_path, *devices, selection=UNITS):
    """What `work(unit)` returns, with these devices on the virtual air."""
    return at_units(lambda units: work(units[0]), tmp_path, [selection], *devices)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (seen("C4:00:00:00:00:01"), seen("c4:00:00:00:00:01"), True),
        (seen("C4:00:00:00:00:01"), seen("C4:00:00:00:00:02"), False),
        (seen("C4:00:00:00:00:01"), seen("C4:00:00:00:00:01", "public"), False),
        (seen("C4:00:00:00:00:01", ""), seen("C4:00:00:00:00:01"), True),
    ],
)
def test_address_and_its_type_make_a_device(one, other, same):
    assert Identity.of(one).is_same(other) is same


def test_what_its_key_has_made_is_the_same_device():
    identity = Identity.of(seen("4A:00:00:00:00:01"), IRK)
    assert identity.is_same(seen(RESOLVABLE))
    assert not identity.is_same(seen("70:81:94:0D:FB:AB"))


@pytest.mark.parametrize(
    ("address", "kind", "rotates"),
    [
        ("C4:00:00:00:00:01", "random", False),
        (RESOLVABLE, "random", True),
        ("0A:00:00:00:00:01", "random", True),
        (RESOLVABLE, "public", False),
        ("12345678-1234-1234-1234-123456789ABC", "", False),
    ],
)
def test_private_addresses_alone_change(address, kind, rotates):
    assert Identity.of(seen(address, kind)).rotates is rotates


SILENT = "faults: {stop_advertising_after: 3 s}"
FIRST = device_text(more=SILENT)
SECOND = device_text(name="unit 2", address="C4:00:00:00:00:02", more="rssi: {mean: -80 dBm}")


def test_the_device_that_was_found_is_found_again_beside_a_stronger_one(tmp_path):
    async def work(unit):
        first = await unit.find(0.5, 5)
        unit.selection = UNITS  # both fit now
        return first.address, (await unit.find(0.5, 5)).address

    far = device_text(name="unit 2", address="C4:00:00:00:00:02", more="rssi: {mean: -30 dBm}")
    found = at_unit(work, tmp_path, device_text(), far, selection=Selection(name="unit 1"))
    assert found == ("C4:00:00:00:00:01", "C4:00:00:00:00:01")


def test_another_device_in_its_place_is_refused(tmp_path):
    async def work(unit):
        await unit.find(0.5, 5)
        await asyncio.sleep(3)
        unit.selection = UNITS
        await unit.find(0, 5)

    with pytest.raises(WrongDevice, match="C4:00:00:00:00:02"):
        at_unit(work, tmp_path, FIRST, SECOND, selection=Selection(name="unit 1"))


def test_a_device_that_fell_silent_alone_is_not_heard(tmp_path):
    async def work(unit):
        await unit.find(0.5, 5)
        await asyncio.sleep(3)
        await unit.find(0, 5)

    with pytest.raises(DeviceNotFound, match="the unit \\(C4:00:00:00:00:01\\) was not heard in 5 s"):
        at_unit(work, tmp_path, FIRST)


def test_a_device_that_was_let_go_may_be_another_one(tmp_path):
    async def work(unit):
        await unit.find(0.5, 5)
        await asyncio.sleep(3)
        unit.let_go()
        unit.selection = UNITS
        return (await unit.find(0.5, 5)).name

    assert at_unit(work, tmp_path, FIRST, SECOND, selection=Selection(name="unit 1")) == "unit 2"


def test_several_that_fit_are_ambiguous_wherever_it_is_looked_for(tmp_path):
    async def work(unit):
        await unit.find(1, 5)

    with pytest.raises(AmbiguousDevice, match="2 devices match"):
        at_unit(work, tmp_path, device_text(), SECOND)


SERIAL = "services: [{{service: device information, characteristics: [{{characteristic: serial number, properties: [read], value: '{0}'}}]}}]"


def rotating(serial_before, serial_after):
    """A device that falls silent after 3 s, and one under another private address that is heard from then on."""
    before = device_text(
        SERIAL.format(serial_before), address="4A:00:00:00:00:01", more="faults: {stop_advertising_after: 3 s}"
    )
    after = device_text(SERIAL.format(serial_after), name="unit 2", address="4B:00:00:00:00:02")
    return before, after


async def away_and_back(unit):
    await unit.find(0.5, 5)
    link = await unit.connect(5)
    await link.disconnect()
    await asyncio.sleep(3)
    unit.selection = UNITS
    await unit.connect(8, again=True)
    return unit.identity.address


def test_a_changed_address_is_proven_by_the_serial_number(tmp_path):
    devices = rotating("A1", "A1")
    assert at_unit(away_and_back, tmp_path, *devices, selection=Selection(name="unit 1")) == "4B:00:00:00:00:02"


def test_another_serial_number_under_a_changed_address_is_another_device(tmp_path):
    with pytest.raises(WrongDevice, match="its serial number is 'B2'"):
        at_unit(away_and_back, tmp_path, *rotating("A1", "B2"), selection=Selection(name="unit 1"))


def test_a_changed_address_that_nothing_proves_is_refused(tmp_path):
    before = device_text(address="4A:00:00:00:00:01", more="faults: {stop_advertising_after: 3 s}")
    after = device_text(name="unit 2", address="4B:00:00:00:00:02")
    with pytest.raises(WrongDevice, match="nothing proves"):
        at_unit(away_and_back, tmp_path, before, after, selection=Selection(name="unit 1"))


def test_a_scan_alone_cannot_tell_a_changed_address_from_another_device(tmp_path):
    async def work(unit):
        await unit.find(0.5, 5)
        await asyncio.sleep(3)
        unit.selection = UNITS
        await unit.find(2, 5)

    with pytest.raises(WrongDevice, match="cannot be told"):
        at_unit(work, tmp_path, *rotating("A1", "A1"), selection=Selection(name="unit 1"))
