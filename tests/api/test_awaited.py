"""What nobody awaits is told, and what is awaited in another way than by `await` is done."""

from __future__ import annotations

import asyncio
import gc
import warnings

import pytest

from benchrig import OpenedRadio, PlanError, Secret, UsageError
from tests.api.devices import UNIT
from tests.api.kit import python

HIGH = {"value": {"min": "99 %"}}


def test_what_was_never_awaited_is_a_mistake_of_the_test() -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            await link.read("battery level", expect={"value": {"max": "99 %"}})
            link.read("battery level", expect=HIGH)  # type: ignore[unused-coroutine]
            link.step("write", "battery level", value=Secret("97 %"))  # type: ignore[unused-coroutine]
            radio.wait("1 s")  # type: ignore[unused-coroutine]

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        left = python(test, UNIT)
        gc.collect()
    assert isinstance(left.error, PlanError)
    assert [each.message for each in left.error.problems] == [
        "read battery level was never awaited",
        "write battery level was never awaited",
        "wait 1 s was never awaited",
    ]
    assert {each.advice for each in left.error.problems} == {"write await in front of it"}
    assert "test_awaited.py:23" in str(left.error)
    assert (left.record.verdict, left.record.cause) == ("error", "plan")
    assert "read battery level was never awaited" in left.record.message
    assert left.is_clean


def test_what_the_test_raised_goes_before_it() -> None:
    async def test(radio: OpenedRadio) -> None:
        radio.wait("1 s")  # type: ignore[unused-coroutine]
        raise AssertionError("wrong")

    left = python(test, UNIT)
    assert isinstance(left.error, AssertionError)
    assert (left.record.verdict, left.record.cause) == ("fail", "limit")
    assert any("wait 1 s was never awaited" in note.text for note in left.record.notes)


def test_it_is_a_coroutine_for_all_that_takes_one() -> None:
    async def test(radio: OpenedRadio) -> None:
        async with (await radio.find("unit 1")).connect() as link:
            asked = link.read("battery level", expect={"value": {"max": "99 %"}})
            task = asyncio.create_task(link.read("battery level"))
            level = await asyncio.wait_for(link.read("battery level"), 10)
            assert await asyncio.gather(link.read("battery level"), link.wait("1 s")) == [level, None]
            async with asyncio.TaskGroup() as group:
                group.create_task(link.wait("1 s"), name="waits")
            assert await task == level == await asked
            with pytest.raises(RuntimeError, match="already awaited"):
                await asked
            unwanted = asyncio.create_task(link.read("battery level", expect=HIGH))
            unwanted.cancel()
            with pytest.raises(asyncio.CancelledError):
                await unwanted

    left = python(test, UNIT)
    assert (left.error, left.record.verdict) == (None, "pass")
    assert left.verdicts == ["pass"] * len(left.verdicts)
    assert left.is_clean


def test_a_task_that_nobody_waits_for_has_begun() -> None:
    tasks = []

    async def test(radio: OpenedRadio) -> None:
        tasks.append(asyncio.create_task(radio.wait("10 s")))

    left = python(test, UNIT)
    assert (left.record.verdict, left.messages) == ("error", ["the run was interrupted"])
    assert not isinstance(left.error, UsageError)
    assert tasks[0].exception() is not None
