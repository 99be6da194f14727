"""Tasks that nobody waits for, contexts that are left open, what is asked for at the wrong time or from elsewhere."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from benchrig import ConnectedLink, LimitFailed, OpenedRadio, PlanError, UsageError, sync
from benchrig.errors import BenchrigError
from benchrig.record.accounting import unaccounted
from tests.api.devices import NAMES, UNIT
from tests.api.kit import python

SOUND: dict[str, Any] = {"value": {"min": "20 %"}}
UNSOUND: dict[str, Any] = {"value": {"max": "20 %"}}


@pytest.fixture
def names(tmp_path: Path) -> Path:
    file = tmp_path / "names.yaml"
    file.write_text(NAMES, "utf-8")
    return file


def test_what_another_task_does_is_not_tolerated() -> None:
    """Neither while somebody else tolerates, nor after that, by a task that began in it."""

    async def outside(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            other = asyncio.create_task(link.read("battery level", expect=UNSOUND))
            with link.tolerating():
                with pytest.raises(LimitFailed):
                    await link.read("battery level", expect=UNSOUND)
                await asyncio.wait([other])
            assert isinstance(other.exception(), LimitFailed)

    async def afterwards(radio: OpenedRadio) -> None:
        async def late(link: ConnectedLink) -> None:
            await link.wait("1 s")
            await link.read("battery level", expect=UNSOUND)

        async with (await radio.find("unit 1")).connect() as link:
            with link.tolerating():
                other = asyncio.create_task(late(link))
            await asyncio.wait([other])
            assert isinstance(other.exception(), LimitFailed)

    for test in (outside, afterwards):
        left = python(test, UNIT)
        assert (left.record.verdict, left.record.cause) == ("fail", "limit"), test.__name__


def test_tolerance_without_async(tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(UNIT, "utf-8")
    with sync.open_radio(f"virtual:{tmp_path}/unit.yaml") as radio, radio.find("unit 1").connect() as link:
        with link.tolerating(), pytest.raises(LimitFailed):
            link.read("battery level", expect=UNSOUND)
        link.read("battery level", expect=SOUND)
    assert radio.record.verdict == "pass"


def test_a_step_that_is_at_work_when_the_radio_closes_blames_nobody_else() -> None:
    """It is interrupted, and its end is on record before that of the run; the next one does not begin."""
    tasks: list[asyncio.Task[Any]] = []

    async def test(radio: OpenedRadio) -> None:
        unit = await radio.find("unit 1")
        left_open.append(unit.connect())
        link = await left_open[0].__aenter__()
        await link.read("battery level", expect=SOUND)
        tasks.append(asyncio.create_task(link.wait("20 s")))
        tasks.append(asyncio.create_task(link.read("battery level", expect=UNSOUND)))
        await asyncio.sleep(1)

    left_open: list[Any] = []
    left = python(test, UNIT)
    assert (left.record.verdict, left.record.cause) == ("error", "operator")
    assert left.record.steps[-1].planned.kind == "wait"
    assert isinstance(tasks[0].exception(), BenchrigError)
    assert isinstance(tasks[1].exception(), UsageError)


def test_nothing_is_done_on_a_radio_that_is_closed_or_another_loops() -> None:
    kept: list[Any] = []

    async def test(radio: OpenedRadio) -> None:
        unit = await radio.find("unit 1")
        async with unit.connect() as link:
            await link.read("battery level", expect=SOUND)
            with pytest.raises(UsageError, match="opened in another event loop"):
                await asyncio.to_thread(asyncio.run, link.read("battery level", expect=UNSOUND))
        kept.extend([radio, unit, link])

    async def closed() -> None:
        radio, unit, link = kept
        for asked in (link.read("battery level", expect=UNSOUND), radio.find("unit 1"), unit.connect().__aenter__()):
            with pytest.raises(UsageError, match="the radio is closed"):
                await asked

    async def then(whole: Any) -> None:
        await whole
        await closed()

    left = python(test, UNIT, wraps=then)
    assert left.error is None
    assert left.record.verdict == "pass"
    assert unaccounted(kept[0].record) == []


def test_a_stream_is_judged_also_where_nobody_leaves_it(names: Path) -> None:
    """One that is open at the end of the radio raises there; a generator that is given up has left it in order."""
    limit = {"rate": {"min": "100 Hz"}}

    async def left_open(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            await link.stream("ticks", expect=limit).__aenter__()
            await link.wait("1 s")

    async def given_up(radio: OpenedRadio) -> None:
        async def ticks(link: ConnectedLink) -> Any:
            async with link.stream("ticks", expect={"rate": {"min": "5 Hz"}}) as values:
                async for value in values:
                    yield value

        async with (await radio.find("unit 1")).connect() as link:
            generator = ticks(link)
            assert [await anext(generator) for _ in range(3)]
            await generator.aclose()

    left = python(left_open, UNIT, names=names)
    assert isinstance(left.error, LimitFailed)
    assert left.record.verdict == "fail"
    left = python(given_up, UNIT, names=names)
    assert (left.error, left.record.verdict) == (None, "pass")


def test_a_stream_is_opened_once_and_before_it_is_read(names: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            values = link.stream("ticks")
            with pytest.raises(UsageError, match="the stream is not open"):
                await anext(values)
            async with values:
                await anext(values)
            with pytest.raises(UsageError, match="a stream is opened once"):
                await values.__aenter__()
            for asked in (lambda: link.lost("soon"), lambda: link.stream("ticks", quiet="long").__aenter__()):
                with pytest.raises(PlanError, match=r"test_left_open.py:\d+:\d+: expected a time with its unit"):
                    await asked()
            assert await link.read("battery level", name="charge", expect=SOUND) is not None
            for _ in range(2):
                await link.step("group", "look", steps=[{"read": "battery level", "expect": SOUND}])

    left = python(test, UNIT, names=names)
    assert (left.error, left.record.verdict) == (None, "pass")
