"""Finding and connecting at the desk."""

from __future__ import annotations

import asyncio

import pytest

from benchrig.desk.desk import Desk
from benchrig.errors import AmbiguousDevice, AttributeMissing, ConnectFailed, DeviceNotFound, OperatorError
from benchrig.radio.scan import Selection
from tests.desk.kit import at_desk
from tests.run.kit import DEVICES, device_text

LOGGER = DEVICES / "logger.yaml"
OTHER = device_text(name="unit 2", address="C4:00:00:00:00:02")


async def _reach(desk: Desk) -> str:
    unit, _ = await desk.reach()
    return unit.name


def test_the_only_device_needs_no_name() -> None:
    assert at_desk(_reach, LOGGER) == "VFL-0042"


def test_of_two_devices_one_has_to_be_named() -> None:
    with pytest.raises(AmbiguousDevice, match="2 devices answer"):
        at_desk(_reach, LOGGER, OTHER)
    assert at_desk(_reach, LOGGER, OTHER, selection=Selection(name="unit*")) == "unit 2"
    assert at_desk(_reach, LOGGER, OTHER, selection=Selection(address="c4:00:00:00:00:02")) == "unit 2"


def test_an_absent_device_is_not_waited_for_without_end() -> None:
    with pytest.raises(DeviceNotFound, match=r"not heard in 3(\.\d+)? s .*VFL-0042"):
        at_desk(_reach, LOGGER, selection=Selection(name="nobody"), within=3.0)


def test_a_failed_attempt_is_told_and_repeated() -> None:
    said: list[str] = []
    with pytest.raises(ConnectFailed):
        at_desk(_reach, device_text(more="faults: {disconnect_after: 5 ms}"), said=said)
    assert [line[:10] for line in said] == ["attempt 1:", "attempt 2:"]


def test_a_device_that_never_connects_uses_the_time_up() -> None:
    with pytest.raises(ConnectFailed):
        at_desk(_reach, device_text(more="faults: {refuse_connections: 99}"), within=4.0)


def test_an_attribute_that_is_not_there_is_said_with_the_nearest() -> None:
    async def work(desk: Desk) -> None:
        _, link = await desk.reach()
        await desk.read(link, "battery health status")

    with pytest.raises(AttributeMissing) as caught:
        at_desk(work, LOGGER)
    assert "battery level" in caught.value.advice


def test_a_cancelled_work_is_an_interruption_and_the_device_is_let_go() -> None:
    links = []

    async def work(desk: Desk) -> None:
        _, link = await desk.reach()
        links.append(link)
        current = asyncio.current_task()
        assert current is not None
        current.cancel()
        await asyncio.sleep(1)

    with pytest.raises(OperatorError, match="interrupted"):
        at_desk(work, LOGGER)
    assert not links[0].is_up
