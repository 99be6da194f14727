"""An event loop in a thread of its own."""

from __future__ import annotations

import asyncio
import contextvars
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest

from benchrig.errors import InternalError, NoAnswer, UsageError
from benchrig.loop_thread import LoopThread
from benchrig.radio.virtual.clock import VirtualLoop

WHO = contextvars.ContextVar("who", default="")


@pytest.fixture(params=[False, True], ids=["real", "virtual"])
def thread(request: pytest.FixtureRequest) -> Iterator[LoopThread]:
    with LoopThread(VirtualLoop if request.param else None, rests=request.param) as opened:
        yield opened


async def slept(seconds: float) -> float:
    await asyncio.sleep(seconds)
    return asyncio.get_running_loop().time()


def test_calls_give_values_and_errors_in_the_context_of_who_asks(thread: LoopThread) -> None:
    async def who() -> str:
        return WHO.get()

    async def fails() -> None:
        raise NoAnswer("silent")

    WHO.set("me")
    assert thread.call(who) == "me"
    with pytest.raises(NoAnswer, match="silent"):
        thread.call(fails)
    assert thread.get(lambda: 5) == 5


def test_a_clock_that_is_virtual_rests_between_calls() -> None:
    async def begun() -> None:
        def again() -> None:
            ticks.append(1)
            loop.call_later(1, again)

        loop = asyncio.get_running_loop()
        again()

    ticks: list[int] = []
    with LoopThread(VirtualLoop, rests=True) as thread:
        thread.call(begun)
        first = thread.call(lambda: slept(10))
        before = len(ticks)
        assert thread.call(lambda: slept(0)) == first
        assert len(ticks) == before
        assert thread.call(lambda: slept(5)) == first + 5


def test_calls_of_many_threads_are_done_beside_each_other(thread: LoopThread) -> None:
    with ThreadPoolExecutor(8) as pool:
        results = [*pool.map(lambda number: thread.call(lambda: slept(0.001 * (number % 3))), range(200))]
    assert len(results) == 200


def test_ctrl_c_cancels_the_call_and_waits_until_it_has_ended(thread: LoopThread) -> None:
    ended: list[str] = []
    begun = threading.Event()

    async def work() -> None:
        asyncio.get_running_loop().call_soon(begun.set)
        try:
            while True:
                await asyncio.sleep(1)
        finally:
            await asyncio.sleep(0.01)
            ended.append("in order")

    def interrupt() -> None:
        begun.wait()
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)

    threading.Thread(target=interrupt).start()
    with pytest.raises(KeyboardInterrupt):
        thread.call(work)
    assert ended == ["in order"]
    assert thread.get(lambda: 1) == 1


def test_a_clock_that_can_never_go_on_is_told_and_the_next_call_is_done() -> None:
    async def waits() -> None:
        await asyncio.get_running_loop().create_future()

    with LoopThread(VirtualLoop, rests=True) as thread:
        with pytest.raises(InternalError, match="stands still"):
            thread.call(waits)
        assert thread.get(lambda: 1) == 1


def test_what_is_asked_too_late_or_by_the_loop_itself_is_refused(thread: LoopThread) -> None:
    async def asks() -> None:
        thread.call(asks)

    with pytest.raises(UsageError, match="wait for itself"):
        thread.call(asks)
    with LoopThread() as other:
        pass
    assert other.get(lambda: "for good") == "for good"
    with pytest.raises(UsageError, match="closed"):
        other.call(asks)


def test_tasks_that_are_left_over_are_ended() -> None:
    left: list[asyncio.Task[float]] = []

    async def leaves() -> None:
        left.append(asyncio.create_task(slept(3600)))

    with LoopThread() as thread:
        thread.call(leaves)
    assert left[0].cancelled()
