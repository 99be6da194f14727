import asyncio
import os
import signal
import sys
import threading
import time

import pytest

from benchrig.errors import InternalError
from benchrig.loop import outside
from benchrig.radio.virtual import clock


async def elapsed(work):
    start = asyncio.get_running_loop().time()
    await work
    return asyncio.get_running_loop().time() - start


def test_waiting_costs_nothing():
    start = time.monotonic()
    assert clock.run(elapsed(asyncio.sleep(600))) == 600
    assert time.monotonic() - start < 5


def test_a_moment_has_come_where_timers_are_early():
    async def after_another_timer():
        loop = asyncio.get_running_loop()
        loop._clock_resolution = 0.01
        loop.call_at(loop.time() + 0.995, lambda: None)
        await clock.until(loop.time() + 1)

    assert clock.run(elapsed(after_another_timer())) == 1


def test_times_repeat_exactly():
    async def stamps():
        found = []
        for delay in (0.1, 0.2, 0.3):
            await asyncio.sleep(delay)
            found.append(asyncio.get_running_loop().time())
        return found

    assert clock.run(stamps()) == clock.run(stamps())


def test_a_time_out_of_half_a_minute_is_kept_exactly():
    async def expires():
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(30):
                await asyncio.get_running_loop().create_future()

    assert clock.run(elapsed(expires())) == 30


def test_standing_still_for_ever_is_an_error():
    async def waits():
        await asyncio.get_running_loop().create_future()

    with pytest.raises(InternalError, match="stands still"):
        clock.run(waits())


def test_being_busy_in_one_instant_for_ever_is_an_error():
    async def spins():
        loop = asyncio.get_running_loop()

        def again():
            loop.call_at(loop.time(), again)

        again()
        await asyncio.sleep(1)

    with pytest.raises(InternalError, match="the same instant for 1000 rounds"):
        spun(spins)


def test_much_work_at_many_instants_is_none():
    async def works():
        for _ in range(30):
            for _ in range(900):
                await asyncio.sleep(0)
            await asyncio.sleep(1)
        return "done"

    assert spun(works) == "done"


def spun(work):
    """Its result on a loop that has little patience."""
    with asyncio.Runner(loop_factory=lambda: clock.VirtualLoop(most_rounds=1000)) as runner:
        return runner.run(work())


def test_a_thread_is_awaited_in_real_time():
    async def work():
        return await asyncio.to_thread(lambda: 7), await elapsed(asyncio.to_thread(time.sleep, 0.05))

    answer, took = clock.run(work())
    assert answer == 7
    assert took >= 0.05


def test_a_program_is_awaited_in_real_time():
    async def work():
        with outside():
            program = await asyncio.create_subprocess_exec(
                sys.executable, "-c", "print(5)", stdout=asyncio.subprocess.PIPE
            )
            output, _ = await program.communicate()
        return output

    assert clock.run(work()).strip() == b"5"


def test_the_virtual_clock_goes_on_where_the_real_one_left_it():
    async def work():
        loop = asyncio.get_running_loop()
        before = loop.time()
        with outside(), outside():
            await asyncio.sleep(0.02)
        between = loop.time()
        await asyncio.sleep(100)
        return between - before, loop.time() - between

    real, virtual = clock.run(work())
    assert real >= 0.02
    assert virtual == pytest.approx(100)


def test_another_thread_can_wake_the_loop():
    async def work():
        loop = asyncio.get_running_loop()
        woken = loop.create_future()
        threading.Timer(0.02, loop.call_soon_threadsafe, (woken.set_result, "awake")).start()
        with outside():
            return await woken

    assert clock.run(work()) == "awake"


@pytest.mark.parametrize("real_time", [False, True])
def test_ctrl_c_cancels_the_run(real_time):
    # whoever started this process may have had it ignore the signal
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    cleaned = []

    async def work():
        try:
            with outside():
                asyncio.get_running_loop().call_later(0.01, os.kill, os.getpid(), signal.SIGINT)
                await asyncio.sleep(30)
        finally:
            cleaned.append(True)

    try:
        with pytest.raises(KeyboardInterrupt):
            clock.run(work(), real_time=real_time)
    finally:
        signal.signal(signal.SIGINT, before)
    assert cleaned


def test_real_time_is_asyncios_own_loop():
    async def kind():
        with outside():
            return isinstance(asyncio.get_running_loop(), clock.VirtualLoop)

    assert clock.run(kind(), real_time=True) is False
