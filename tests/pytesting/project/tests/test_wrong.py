"""Tests that do not pass, each in its way. The first letters of a name say how."""

from __future__ import annotations

import pytest

from benchrig import ConnectedLink, FoundUnit, LimitFailed, OpenedRadio, StationError, sync
from benchrig.pytesting.fixtures import RecordReading

pytestmark = pytest.mark.benchrig(unit="GHP-*")
HIGH = {"value": {"min": "95 %"}}


@pytest.mark.asyncio
async def test_failed_limit(benchrig_link: ConnectedLink) -> None:
    await benchrig_link.read("battery level", expect=HIGH)


@pytest.mark.asyncio
async def test_failed_assert(benchrig_link: ConnectedLink) -> None:
    assert await benchrig_link.read("hardware revision") == "C1"


def test_failed_reading(benchrig_link_sync: sync.ConnectedLink, record_reading: RecordReading) -> None:
    record_reading("ripple", 0.4, "V", {"max": "0.1 V"})


@pytest.mark.benchrig(unit="GHP-9999")
def test_failed_no_unit(benchrig_unit_sync: sync.FoundUnit) -> None:
    pass


@pytest.mark.asyncio
async def test_error_station(benchrig_unit: FoundUnit) -> None:
    raise StationError("the fixture is open", advice="close the fixture")


@pytest.mark.benchrig(radio="hci:tcp:127.0.0.1:1")
def test_error_no_radio(benchrig_radio_sync: sync.OpenedRadio) -> None:
    pass


@pytest.mark.asyncio
async def test_error_two_radios(benchrig_radio: OpenedRadio, benchrig_radio_sync: sync.OpenedRadio) -> None:
    pass


def test_error_async_form(benchrig_link: ConnectedLink) -> None:
    pass


@pytest.mark.benchrig(unnit="GHP-*")
def test_error_key(benchrig_unit_sync: sync.FoundUnit) -> None:
    pass


def test_error_no_record(record_reading: RecordReading) -> None:
    record_reading("alone", 1)


@pytest.mark.asyncio
async def test_later_swallowed(benchrig_link: ConnectedLink) -> None:
    with pytest.raises(LimitFailed):
        await benchrig_link.read("battery level", expect=HIGH)


@pytest.mark.asyncio
async def test_later_not_awaited(benchrig_link: ConnectedLink, record_reading: RecordReading) -> None:
    record_reading("ripple", 0.4, "V", {"max": "0.1 V"})


@pytest.mark.asyncio
@pytest.mark.xfail
async def test_xfailed(benchrig_link: ConnectedLink) -> None:
    await benchrig_link.read("battery level", expect=HIGH)


@pytest.mark.asyncio
@pytest.mark.xfail
async def test_error_of_an_expected_failure(benchrig_link: ConnectedLink) -> None:
    raise StationError("the fixture is open")
