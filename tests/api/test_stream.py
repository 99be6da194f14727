"""Streams: values one by one, the statistics of notify, what ends them."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from benchrig import LimitFailed, LinkLost, MalformedValue, OpenedRadio, StepTimeout, UsageError
from benchrig.api import stream
from tests.api.devices import LONG, LOSES, NAMES, RARE, SILENT, UNIT
from tests.api.kit import python


@pytest.fixture
def names(tmp_path: Path) -> Path:
    file = tmp_path / "names.yaml"
    file.write_text(NAMES, "utf-8")
    return file


def test_values_come_one_by_one_with_the_statistics_of_notify(names: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            async with link.stream("ticks", counter="value", expect={"rate": {"min": "15 Hz"}}) as ticks:
                seen = []
                async for tick in ticks:
                    seen.append(tick)
                    assert await link.read("battery level") is not None
                    if len(seen) == 10:
                        break
            assert seen == [*range(seen[0], seen[0] + 10)]
            told = ticks.statistics
            assert told["count"].value >= 10
            assert (told["lost"].value, told["duplicated"].value) == (0, 0)
            assert 15 < told["rate"].value.to("Hz") < 25
            listened = await link.notify("ticks", count=5, counter="value")
            assert {*told} - {*listened} == set()

    left = python(test, UNIT, names=names)
    assert (left.error, left.record.verdict) == (None, "pass")
    assert left.is_clean
    listen = left.record.step("listen ticks")
    assert [child.planned.kind for child in listen.children] == ["read"] * 10
    assert listen.children[0].planned.id == f"{listen.planned.id}.1"


def test_a_broken_limit_fails_at_the_end_and_silence_is_no_pass(names: Path) -> None:
    async def slow(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            with pytest.raises(LimitFailed, match=r"^listen ticks: .* is below the minimum"):
                async with link.stream("ticks", expect={"rate": {"min": "100 Hz"}}):
                    await link.wait("1 s")

    async def silent(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            with pytest.raises(StepTimeout, match="no notification of ticks arrived"):
                async with link.stream("ticks"):
                    await link.wait("1 s")
            with pytest.raises(StepTimeout, match="no notification of ticks arrived"):
                async with link.stream("ticks", quiet="2 s") as ticks:
                    await anext(ticks)

    async def rare(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link, link.stream("ticks", quiet="1 s") as ticks:
            await link.wait("4 s")
            await anext(ticks)
            with pytest.raises(StepTimeout, match="no value of ticks arrived for 1 s"):
                await anext(ticks)

    for test, device in ((slow, UNIT), (silent, SILENT), (rare, RARE)):
        left = python(test, device, names=names)
        assert left.error is None
        assert (left.record.verdict, left.record.cause) == ("fail", "limit")
        assert left.is_clean


def test_bytes_that_fit_no_value_are_the_devices_also_for_who_waits_for_one(names: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link, link.stream("ticks", quiet="2 s") as ticks:
            await anext(ticks)

    left = python(test, LONG, names=names)
    assert isinstance(left.error, MalformedValue)
    assert (left.record.verdict, left.record.cause) == ("fail", "device")
    assert left.is_clean


def test_a_lost_link_ends_it_and_one_that_is_meant_to_end_does_so_quietly(names: Path) -> None:
    async def lost(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link, link.stream("ticks") as ticks:
            async for _ in ticks:
                pass

    left = python(lost, LOSES, names=names)
    assert isinstance(left.error, LinkLost)
    assert (left.record.verdict, left.record.cause) == ("fail", "link")
    assert left.is_clean

    async def meant(radio: OpenedRadio) -> None:
        unit = await radio.find("unit 1")
        async with unit.connect() as link:
            async with link.stream("ticks") as ticks:
                await anext(ticks)
                await link.write("restart", 1, expect={"lost_after": {"max": "3 s"}})
                rest = [tick async for tick in ticks]
            assert len(rest) < 100
            with link.tolerating(), pytest.raises(LinkLost, match="read battery level: the link is not there any more"):
                await link.read("battery level")

    left = python(meant, UNIT, names=names)
    assert (left.error, left.record.verdict) == (None, "pass"), left.messages
    assert left.verdicts == ["pass", "pass", "pass", "fail"]
    assert left.is_clean


def test_who_takes_no_values_is_told(names: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stream, "MOST_WAITING", 5)

    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link, link.stream("ticks") as ticks:
            await asyncio.sleep(2)
            async for _ in ticks:
                pass

    left = python(test, UNIT, names=names)
    assert isinstance(left.error, UsageError)
    assert "5 values of ticks waited to be taken" in left.error.message
    assert left.record.cause == "plan"
    assert left.is_clean


def test_a_message_names_step_reading_and_bytes_once(names: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            said = r"^notify ticks: gap_max: .* is above the maximum 0.01 s .*"
            with link.tolerating(), pytest.raises(LimitFailed, match=said):
                await link.notify("ticks", count=3, expect={"gap_max": {"max": "10 ms"}})
            outside = r"^listen ticks: ticks\.value: \d+ of \d+ samples outside; .* \(bytes [0-9A-F]{2}\)$"
            with link.tolerating(), pytest.raises(LimitFailed, match=outside):
                async with link.stream("ticks", expect={"value": {"max": 0}}):
                    await link.wait("1 s")
            with link.tolerating(), pytest.raises(LinkLost, match=r"^write restart: the link was lost"):
                await link.write("restart", 1)

    left = python(test, UNIT, names=names)
    assert left.error is None, left.messages
