"""However a test in Python ends, nothing is left open: the link killed at each PDU, the caller cancelled at each step of its
way, two radios beside each other."""

from __future__ import annotations

import asyncio
import signal
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from benchrig import BenchrigError, LinkLost, OpenedRadio, open_radio
from benchrig.radio.specify import RadioChoice
from benchrig.radio.virtual import AirPdu, Faults
from benchrig.radio.virtual.clock import VirtualLoop
from benchrig.testing.sources import load_devices
from tests.api.devices import LOSES, NAMES, OTHER, UNIT
from tests.api.kit import Left, python
from tests.run.kit import pieces

PIECES = 8


async def whole(radio: OpenedRadio) -> None:
    """Something of everything that goes over a link."""
    unit = await radio.find("unit 1", for_="300 ms")
    async with unit.connect() as link:
        await link.read("battery level", expect={"value": {"min": "20 %"}})
        async with link.stream("ticks", counter="value", expect={"lost": {"equals": 0}}) as ticks:
            async for tick in ticks:
                await link.write("battery level", "50 %", read_back=True)
                if tick is not None and len(radio.record.executions) > 6:
                    break
        await link.read("battery level", expect={"value": {"equals": "50 %"}})


@pytest.fixture
def names(tmp_path: Path) -> Path:
    file = tmp_path / "names.yaml"
    file.write_text(NAMES, "utf-8")
    return file


@cache
def _count(names: Path) -> int:
    seen: list[AirPdu] = []
    left = python(whole, UNIT, names=names, faults=Faults(fate=seen.append))
    assert left.error is None
    assert left.record.verdict == "pass", left.record.message
    return len(seen)


def check(left: Left, where: Any) -> None:
    assert left.is_clean, (where, left.stray)
    assert left.record.ended is not None, where
    for step in left.record.executions:
        assert step.ended is not None, (where, step.planned.name)


@pytest.mark.parametrize("piece", pieces(PIECES, 0, 3))
def test_the_link_ends_at_each_pdu(piece: int, names: Path) -> None:
    for position in range(1 + piece, _count(names) + 1, PIECES):
        left = python(whole, UNIT, names=names, faults=Faults(kill_at=position))
        check(left, position)
        if left.error is None:
            # what was over by then: the end of the link was on its way
            assert left.record.verdict == "pass", position
            continue
        assert isinstance(left.error, BenchrigError), position
        assert left.error.cause == "link", position
        assert (left.record.verdict, left.record.cause) == ("fail", "link"), position
        assert left.record.message.partition(": ")[2] in left.error.message, position


@pytest.mark.parametrize("piece", pieces(PIECES, 0, 5))
def test_the_caller_is_cancelled_anywhere(piece: int, names: Path) -> None:
    """After so many seconds of the virtual clock, and in the end of that again."""
    for number in range(piece, 64, PIECES):
        seconds = 0.02 + 0.025 * number

        async def cancelled(work: Any, seconds: float = seconds) -> None:
            task = asyncio.ensure_future(work)
            asyncio.get_running_loop().call_later(seconds, task.cancel)
            asyncio.get_running_loop().call_later(seconds + 0.001, task.cancel)
            await task

        left = python(whole, UNIT, names=names, wraps=cancelled)
        check(left, seconds)
        if left.error is not None:
            assert isinstance(left.error, asyncio.CancelledError), seconds
            assert (left.record.verdict, left.record.cause) == ("error", "operator"), seconds


def test_a_step_after_a_lost_link_names_itself_and_it_connects_again(names: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        unit = await radio.find("unit 1")
        async with unit.connect() as link:
            with link.tolerating():
                with pytest.raises(LinkLost, match=r"^wait 3 s: the link was lost"):
                    await link.wait("3 s")
                with pytest.raises(LinkLost, match=r"^read battery level was left out: step 3 left no link"):
                    await link.read("battery level")
            await link.connect()
            await link.read("battery level", expect={"value": {"min": "20 %"}})

    left = python(test, LOSES, names=names)
    check(left, "")
    assert (left.error, left.record.verdict) == (None, "pass")
    assert left.verdicts == ["pass", "pass", "fail", "skip", "pass", "pass", "pass"]


def test_a_unit_restarts_and_is_waited_for(names: Path) -> None:
    async def test(radio: OpenedRadio) -> None:
        unit = await radio.find("unit 1")
        async with unit.connect() as link:
            await link.write("restart", 1, expect={"lost_after": {"max": "3 s"}})
            assert 0 < (await unit.back("5 s")).to("s") < 5
            await link.connect()
            await link.reboot([{"write": "restart", "value": 1}], expect={"lost_after": {"max": "3 s"}})
            await link.read("battery level")

    left = python(test, UNIT, names=names)
    check(left, "")
    assert (left.error, left.record.verdict) == (None, "pass"), left.messages


def test_a_link_that_is_lost_unseen_fails_the_end_of_its_context() -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect():
            await asyncio.sleep(3)

    left = python(test, LOSES)
    check(left, "")
    assert isinstance(left.error, LinkLost)
    assert (left.record.verdict, left.record.cause) == ("fail", "link")


def test_two_radios_in_one_loop_keep_apart_and_take_nothing_over() -> None:
    found = {}

    async def one(name: str, device: str) -> None:
        choice = RadioChoice("virtual", devices=tuple(load_devices([device])))
        async with open_radio(choice, name=name) as radio:
            unit = await radio.find("unit*")
            async with unit.connect() as link:
                await link.read("battery level", expect={"value": {"min": "20 %"}})
                await link.wait("1 s")
        found[name] = (radio.record.verdict, unit.name, [step.planned.id for step in radio.record.steps])

    async def both() -> Any:
        loop = asyncio.get_running_loop()
        handler = lambda loop, context: None  # noqa: E731
        loop.set_exception_handler(handler)
        before = [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)]
        async with asyncio.TaskGroup() as group:
            group.create_task(one("left", UNIT))
            group.create_task(one("right", OTHER))
        assert [signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)] == before
        assert loop.get_exception_handler() is handler
        return len(asyncio.all_tasks())

    with asyncio.Runner(loop_factory=VirtualLoop, debug=True) as runner:
        assert runner.run(both()) == 1
    steps = ["1", "2", "3", "4", "5"]
    assert found == {"left": ("pass", "unit 1", steps), "right": ("pass", "unit 2", steps)}
