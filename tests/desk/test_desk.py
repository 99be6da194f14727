"""Finding and connecting at the desk."""

from __future__ import annotations

import asyncio
import gc
import weakref
from typing import Any

import pytest

from benchrig.desk.airlist import AirList, listen
from benchrig.desk.desk import Desk
from benchrig.errors import (
    AmbiguousDevice,
    AttributeMissing,
    ConnectFailed,
    DeviceNotFound,
    LinkError,
    OperatorError,
    StationError,
)
from benchrig.radio.link import Link
from benchrig.radio.radio import Radio
from benchrig.radio.scan import Report, Selection, Sighting
from benchrig.steps.lookup import look_up
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
    with pytest.raises(AmbiguousDevice, match="2 devices match"):
        at_desk(_reach, LOGGER, OTHER)
    assert at_desk(_reach, LOGGER, OTHER, selection=Selection(name="unit*")) == "unit 2"
    assert at_desk(_reach, LOGGER, OTHER, selection=Selection(address="c4:00:00:00:00:02")) == "unit 2"


@pytest.mark.parametrize(("name", "device"), [("UNIT 2", "unit 2"), ("vfl-*", "VFL-0042")])
def test_a_name_in_other_letters_is_offered(name: str, device: str) -> None:
    said: list[str] = []
    with pytest.raises(DeviceNotFound) as caught:
        at_desk(_reach, LOGGER, OTHER, selection=Selection(name=name), within=4.0, said=said)
    assert said == [f"{name} is not heard so far: did you mean '{device}'? Capitals count"], "before the time is up"
    assert caught.value.advice == f"did you mean '{device}'? Capitals count"


def test_the_advice_is_made_of_options() -> None:
    with pytest.raises(AmbiguousDevice) as caught:
        at_desk(_reach, LOGGER, OTHER)
    assert all(option in caught.value.advice for option in ("--device", "--nearest 6", "--rssi-min -60"))
    with pytest.raises(AmbiguousDevice, match=r"the nearest leads by [0-9.]+ dB only") as tried:
        at_desk(_reach, LOGGER, OTHER, selection=Selection(nearest=40))
    assert "--nearest" not in tried.value.advice, "what was said already is no advice"


def test_a_device_that_takes_no_connections_is_not_tried() -> None:
    beacon = device_text().replace("interval: 20 ms", "interval: 20 ms, connectable: false")

    async def work(desk: Desk) -> float:
        await desk.find()
        started = desk.now()
        with pytest.raises(ConnectFailed, match="unit 1 does not take connections"):
            await desk.connect()
        return desk.now() - started

    assert at_desk(work, beacon) == 0.0


def test_no_name_of_a_device_steers_the_terminal() -> None:
    escape = device_text().replace("name: unit 1}", "raw: '04 09 1B 5B 6D'}")  # a name of ESC, [ and m
    with pytest.raises(DeviceNotFound) as caught:
        at_desk(_reach, escape, selection=Selection(name="?[[]M"), within=2.0)
    assert r"\x1b[m C4:00" in caught.value.message
    assert (caught.value.message + caught.value.advice).isprintable()


def test_one_report_in_between_does_not_make_a_beacon() -> None:
    seen = Sighting("C4:00:00:00:00:01")
    for connectable in (True, None, False):
        seen.add(Report(0.0, seen.address, "random", "unit 1", -50, (), {}, {}, None, connectable=connectable))
    assert (seen.connectable, seen.takes_no_connections) == (False, False)


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


def test_a_device_that_the_system_forgot_is_listened_for_again() -> None:
    """As BlueZ does with a device that was not heard for a while."""
    calls = []

    async def work(desk: Desk) -> str:
        await desk.find()
        connect = desk.radio.connect

        async def forgetful(unit: Sighting, within: float, **_: Any) -> Link:
            calls.append(unit)
            if len(calls) == 1:
                raise DeviceNotFound("forgotten")
            return await connect(unit, within)

        desk.radio.connect = forgetful  # type: ignore[method-assign]
        return (await desk.connect()).name

    assert at_desk(work, LOGGER) == "VFL-0042"
    assert calls[1] is not calls[0]


@pytest.mark.parametrize("fresh", [False, True])
def test_a_fresh_connection_lets_the_radio_forget_first(fresh: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    forgotten: list[str] = []

    async def forget(radio: Radio, sighting: Sighting) -> None:
        forgotten.append(sighting.name)

    monkeypatch.setattr(Radio, "forget", forget)
    assert at_desk(_reach, device_text(), fresh=fresh) == "unit 1"
    assert forgotten == ["unit 1"] * fresh


async def _switched_off() -> StationError:
    return StationError("the adapter is switched off")


def test_a_scan_that_heard_nothing_because_the_adapter_was_off_is_the_stations_failure() -> None:
    async def work(desk: Desk) -> None:
        desk.radio.trouble = _switched_off  # type: ignore[method-assign]
        await listen(desk, AirList(Selection()), 1.0)

    with pytest.raises(StationError, match="switched off"):
        at_desk(work, LOGGER)


def test_finding_and_connecting_share_their_time() -> None:
    """A slow advertiser that refuses: --within is what all of it takes, not twice that."""
    slow = device_text(more="faults: {refuse_connections: 99}").replace("20 ms", "3500 ms")

    async def work(desk: Desk) -> float:
        started = desk.now()
        with pytest.raises(LinkError):
            await desk.reach()
        return desk.now() - started

    assert at_desk(work, slow, within=6.0) < 7.0


def test_the_links_of_a_flaky_night_are_let_go() -> None:
    described = device_text("""services:
  - service: 6b1d0001-9a53-4c86-8a3e-2f0f6c1d7e40
    characteristics:
      - characteristic: 6b1d0030-9a53-4c86-8a3e-2f0f6c1d7e40
        as: hex
        properties: [read]
        value: 'A9 0B'
        descriptors: [{descriptor: characteristic presentation format, raw: '06 FD 28 27 01 00 00'}]
""")

    async def work(desk: Desk) -> int:
        links = []
        for _ in range(4):
            _, link = await desk.reach()
            target = look_up(link.table, desk.names, "6b1d0030-9a53-4c86-8a3e-2f0f6c1d7e40")
            assert await desk.presented(link, target) is not None
            links.append(weakref.ref(link))
            await link.disconnect()
            await desk.radio.tidy()
        del link, target
        gc.collect()
        return sum(one() is not None for one in links)

    assert at_desk(work, described) <= 1
