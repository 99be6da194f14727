"""What the firmware team asks of a probe, beside the plans."""

from __future__ import annotations

import pytest

from benchrig import BenchrigError, ConnectedLink, DeviceError, FoundUnit, OpenedRadio, Quantity
from benchrig.pytesting.fixtures import RecordReading

pytestmark = [pytest.mark.asyncio, pytest.mark.benchrig(unit="GHP-*")]
ALARM = "5e3a0002-71c4-4b0e-9d52-8f6e2a1b3c40"


async def test_battery(benchrig_link: ConnectedLink) -> None:
    assert await benchrig_link.read("battery level") >= Quantity("20 %")


@pytest.mark.parametrize(
    ("name", "low", "high"), [("temperature", "15 °C", "30 °C"), ("humidity", "20 %", "70 %")], ids=["air", "water"]
)
async def test_climate(benchrig_link: ConnectedLink, name: str, low: str, high: str) -> None:
    await benchrig_link.read(name, expect={"value": {"min": low, "max": high}})


async def test_stream(benchrig_link: ConnectedLink) -> None:
    async with benchrig_link.stream("temperature", expect={"rate": {"min": "1.5 Hz"}}) as values:
        for _ in range(5):
            assert await anext(values) == Quantity("21.5 °C")
    assert values.statistics["count"].value >= 5


async def test_an_hour_of_silence(benchrig_link: ConnectedLink) -> None:
    await benchrig_link.wait("1 h")
    await benchrig_link.read("battery level", expect={"value": {"min": "20 %"}})


async def test_alarm_is_kept(benchrig_unit: FoundUnit) -> None:
    async with benchrig_unit.connect() as link:
        await link.write(ALARM, raw="20 03")
    async with benchrig_unit.connect() as link:
        assert await link.read(ALARM) == bytes.fromhex("20 03")


async def test_battery_cannot_be_written(benchrig_link: ConnectedLink) -> None:
    await benchrig_link.write("battery level", raw="01", expect={"att_error": {"equals": "write not permitted"}})


async def test_a_refusal_that_is_meant(benchrig_link: ConnectedLink) -> None:
    with benchrig_link.tolerating(), pytest.raises(DeviceError, match="does not offer write"):
        await benchrig_link.write("battery level", raw="01")


async def test_difference(benchrig_link: ConnectedLink, record_reading: RecordReading) -> None:
    first, second = await benchrig_link.read("temperature"), await benchrig_link.read("temperature")
    await record_reading("drift", float((second - first).number), "K", {"max": "0.5 K"})
    await record_reading("board", await benchrig_link.read("hardware revision"), limit={"equals": "B2"})


async def test_level(benchrig_unit: FoundUnit, record_reading: RecordReading) -> None:
    await record_reading("level", benchrig_unit.rssi, limit={"min": "-80 dBm"})


@pytest.mark.benchrig(radio="virtual:devices/restless_probe.yaml")
async def test_lost_and_back(benchrig_unit: FoundUnit) -> None:
    async with benchrig_unit.connect() as link:
        await link.write(ALARM, raw="00 00")
        await link.lost("2 s")
        await benchrig_unit.back("5 s")
        await link.connect()
        await link.read("battery level", expect={"value": {"min": "20 %"}})


@pytest.mark.parametrize("benchrig_unit", ["GHP-*", {"name": "GHP-0007"}], indirect=True, ids=["pattern", "name"])
async def test_selections(benchrig_unit: FoundUnit) -> None:
    assert benchrig_unit.name == "GHP-0007"


async def test_two_looks(benchrig_radio: OpenedRadio) -> None:
    first, second = await benchrig_radio.find("GHP-*"), await benchrig_radio.find("GHP-*")
    assert first.address == second.address


async def test_no_link(benchrig_link: ConnectedLink) -> None:
    await benchrig_link.disconnect()
    with benchrig_link.tolerating(), pytest.raises(BenchrigError, match="the link is not there any more"):
        await benchrig_link.read("battery level")
