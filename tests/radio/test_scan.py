"""What was heard, gathered by device, and which device is meant."""

import pytest

from benchrig.radio.scan import Ear, Report, Selection, lead


def report(number=1, at=0.0, rssi=-50, **said):
    parts = {"address_type": "random", "name": None, "services": (), "manufacturer_data": {}, "service_data": {}}
    return Report(at, f"C4:00:00:00:00:{number:02X}", rssi=rssi, tx_power=None, **(parts | said))


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


def test_what_has_no_level_comes_last():
    ear = heard(report(1, rssi=None), report(2, rssi=-127))
    assert [unit.address[-1] for unit in ear.selected(Selection())] == ["2", "1"]
