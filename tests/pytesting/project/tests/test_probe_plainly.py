"""The same without async, with the names of a plan."""

from __future__ import annotations

import pytest

from benchrig import Quantity, sync
from benchrig.pytesting.fixtures import RecordReading

pytestmark = pytest.mark.benchrig(names="plans/smoke.yaml")


def test_battery(benchrig_link_sync: sync.ConnectedLink) -> None:
    assert benchrig_link_sync.read("battery level") >= Quantity("20 %")


def test_stream(benchrig_link_sync: sync.ConnectedLink) -> None:
    with benchrig_link_sync.stream("temperature") as values:
        assert {next(values) for _ in range(3)} == {Quantity("21.5 °C")}
    assert values.statistics["count"].value >= 3


def test_readings(benchrig_unit_sync: sync.FoundUnit, record_reading: RecordReading) -> None:
    record_reading("letters", len(benchrig_unit_sync.name), limit={"min": 4})


@pytest.mark.parametrize("benchrig_link_sync", [{}, {"attempts": 2}], indirect=True, ids=["once", "twice"])
def test_links(benchrig_link_sync: sync.ConnectedLink) -> None:
    benchrig_link_sync.discover(expect={"elapsed": {"max": "5 s"}})


@pytest.mark.benchrig(seed=7, real_time=False)
def test_radio(benchrig_radio_sync: sync.OpenedRadio) -> None:
    assert benchrig_radio_sync.find().name == "GHP-0007"
