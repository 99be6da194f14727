"""Tasks with an owner: none is left, and what one raises is told."""

from __future__ import annotations

import asyncio

import pytest

from benchrig.tasks import Tasks, first_of


async def fail(after: float = 0.0) -> None:
    await asyncio.sleep(after)
    raise ValueError("it fails")


async def test_what_a_task_raises_that_nobody_waits_for_is_told_at_once():
    errors: list[Exception] = []
    async with Tasks(errors.append) as tasks:
        tasks.leave(fail())
        tasks.leave(asyncio.sleep(60))
        await asyncio.sleep(0.01)
        assert [str(error) for error in errors] == ["it fails"]
    assert len(errors) == 1


async def test_without_an_owner_who_hears_it_the_loop_does():
    told: list[dict] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: told.append(context))
    async with Tasks() as tasks:
        tasks.leave(fail())
        await asyncio.sleep(0.01)
    assert [str(context["exception"]) for context in told] == ["it fails"]


async def test_a_result_is_for_who_takes_it():
    errors: list[Exception] = []
    async with Tasks(errors.append) as tasks:
        with pytest.raises(ValueError, match="it fails"):
            await tasks.start(fail())
        assert await tasks.start(asyncio.sleep(0, "done")) == "done"
    assert not errors


async def test_a_result_that_nobody_takes_any_more():
    told: list[dict] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: told.append(context))
    async with Tasks() as tasks:
        late, dropped = tasks.start(fail(0.01)), tasks.start(asyncio.sleep(60))
        tasks.ignore(late)
        tasks.drop(dropped)
        await tasks.settled()
        assert dropped.cancelled()
    del late
    assert not told


async def test_none_is_left():
    tasks = Tasks()
    left = [tasks.start(asyncio.sleep(60)), tasks.leave(asyncio.sleep(60))]
    await tasks.close()
    assert all(task.cancelled() for task in left)


async def test_the_first_one_ends_the_others():
    ended = []

    async def forever():
        try:
            await asyncio.sleep(60)
        finally:
            ended.append("forever")

    await first_of(forever(), asyncio.sleep(0.01))
    assert ended == ["forever"]


@pytest.mark.parametrize("other", [0.0, 60.0])
async def test_what_any_of_them_raises_is_raised(other: float):
    with pytest.raises(ValueError, match="it fails"):
        await first_of(asyncio.sleep(other), fail())
