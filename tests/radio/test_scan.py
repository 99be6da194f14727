"""What was heard, gathered by device, and which device is meant."""

import pytest

from benchrig.radio.scan import Ear, Report, Selection, lead


def report(number=1, at=0.0, rssi=-50, **said):
    parts = {"address_type": "random", "name": None, "services": (), "manufacturer_data": {}, "service_data": {}}
    parts |= {"address": f"C4:00:00:00:00:{number:02X}", "tx_power": None}
    return Report(at, rssi=rssi, **(parts | said))


def heard(*reports):
    ear = Ear()
    for each in reports:
        ear.add(each)
    return ear


def test_a_report_without_a_level_counts_as_heard():
    (unit,) = heard(report(rssi=None), report(rssi=None, at=0.1)).heard.values()
    assert (unit.count, unit.median_rssi, unit.level_text) == (2, None, "level unknown")


def test_the_median_is_of_the_known_levels():
    (unit,) = heard(report(rssi=-60), report(rssi=None), report(rssi=-70)).heard.values()
    assert (unit.median_rssi, unit.level_text) == (-65, "-65 dBm")


@pytest.mark.parametrize("also", [None, Selection(rssi_min=-127)])
def test_no_level_is_not_strong_enough(also):
    ear = heard(report(rssi=None))
    assert ear.selected(Selection(rssi_min=-127)) == []
    assert ear.selected(Selection(also=also)) == ([] if also else [*ear.heard.values()])
    assert len(ear.selected(Selection(rssi_min=-127, also=also).at_any_level)) == 1


@pytest.mark.parametrize("levels", [(None, -90), (-40, None), (None, None), (-40, -90, None)])
def test_who_has_no_level_may_be_the_nearest(levels):
    ear = heard(*(report(number, rssi=level) for number, level in enumerate(levels)))
    selection = Selection(nearest=6)
    assert lead(ear.selected(selection)) is None
    assert selection.chosen(ear.selected(selection)) is None


def test_the_nearest_of_those_with_levels():
    ear = heard(report(1, rssi=-60), report(2, rssi=-40))
    assert Selection(nearest=6).chosen(ear.selected(Selection())).address == "C4:00:00:00:00:02"
    assert Selection(nearest=21).chosen(ear.selected(Selection())) is None


def test_a_late_scan_response_belongs_to_its_event():
    (unit,) = heard(report(), report(at=0.1), report(at=0.1, scan_response=b"\2\x0a\4", rssi=-40)).heard.values()
    assert (unit.count, unit.interval, unit.median_rssi, unit.scan_response) == (2, 0.1, -50, b"\2\x0a\4")


def crowd(count, **said):
    octets = (f"{number >> 8:02X}:{number & 255:02X}" for number in range(count))
    return (report(address=f"C0:00:00:00:{last}", at=at, **said) for at, last in enumerate(octets))


def test_the_unit_is_kept_when_a_crowd_of_addresses_rotates():
    ear = Ear(Selection(name="VFL*").accepts, most=100)
    for each in (report(name="VFL-1"), *crowd(10_000)):
        ear.add(each)
    assert len(ear.heard) <= 100
    assert [unit.name for unit in ear.selected(Selection(name="VFL*"))] == ["VFL-1"]


@pytest.mark.parametrize("keep", [None, Selection(name="VFL*").accepts])
def test_the_newest_are_kept_of_a_crowd_that_fits(keep):
    ear = Ear(keep, most=100)
    for each in crowd(1000, name="VFL-1"):
        ear.add(each)
    assert len(ear.heard) <= 100
    assert max(unit.last_at for unit in ear.heard.values()) == 999


def test_what_has_no_level_comes_last():
    ear = heard(report(1, rssi=None), report(2, rssi=-127))
    assert [unit.address[-1] for unit in ear.selected(Selection())] == ["2", "1"]
