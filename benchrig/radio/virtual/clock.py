"""A loop on which waiting costs nothing.

`VirtualLoop.time()` stands still while code runs and jumps to the next timer when there is nothing left to run, so
that a plan of ten minutes takes milliseconds and its times repeat exactly. What is awaited outside the air (a
program, an operator, a socket, a thread) takes real time: inside `outside()` the clock is the real one.
"""

from __future__ import annotations

import asyncio
import selectors
import threading
import time
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar, TypeVarTuple, Unpack

from benchrig.errors import InternalError

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Iterator

T = TypeVar("T")
Ts = TypeVarTuple("Ts")

START = 1000.0  # not 0: code that takes a time of 0 for "never" would go unnoticed
# The rounds of the loop in one instant after which nothing is thought to come of it: a second or two of computing.
MOST_ROUNDS = 200_000
# Files are looked at when nothing is left to do, and once in so many rounds: each look is a call of the system.
POLLED_EVERY = 64
# In a thread beside others the loop gives way once in so many jumps: it lets the interpreter go at each look at files, and has it
# again before a thread that waits for it awakes, on a busy machine for minutes.
GIVES_WAY_EVERY = 256
_GIVEN = 1e-5
# Times are sums of floats: what is nearer than this is the same instant.
INSTANT = 1e-6


async def until(moment: float) -> None:
    """Wait for this time of the running loop. A timer is early by up to the resolution of the clock, which is 10 ms on
    some systems."""
    now = asyncio.get_running_loop().time
    while (left := moment - now()) > INSTANT:  # noqa: ASYNC110  # time is no event
        await asyncio.sleep(left)


class VirtualLoop(asyncio.SelectorEventLoop):
    """An asyncio loop with a virtual clock.

    Raises InternalError out of `run_until_complete` when every task waits for something that nobody is going to do
    (no timer, no ready callback, no file, and nothing outside), and when they are busy with each other without end
    while the clock stands still.
    """

    # what a clock on the wall shows when a run begins
    date = datetime(2026, 1, 1, 12)

    def __init__(self, start: float = START, most_rounds: int = MOST_ROUNDS) -> None:
        self._now = start
        self._rounds, self._most_rounds = 0, most_rounds
        self._outside = 0
        self._jumps = 0
        self._real_start = 0.0
        super().__init__(_JumpingSelector(self))
        # A timer is due when its time is not later than now plus this; virtual times are exact.
        self._clock_resolution = 1e-9

    def time(self) -> float:
        """Seconds on the virtual clock; it runs with the real one while anything is awaited outside."""
        if self._outside:
            return self._now + (time.monotonic() - self._real_start)
        return self._now

    @contextmanager
    def outside(self) -> Iterator[None]:
        """While this is open the clock is the real one. May be nested and held by several tasks."""
        self._enter_outside()
        try:
            yield
        finally:
            self._leave_outside()

    def run_in_executor(self, executor: Any, func: Callable[[Unpack[Ts]], T], *args: *Ts) -> asyncio.Future[T]:
        """As asyncio's; the clock is the real one until the thread has answered."""
        future = super().run_in_executor(executor, func, *args)
        self._enter_outside()
        future.add_done_callback(lambda _: self._leave_outside())
        return future

    async def shutdown_default_executor(self, *args: Any) -> None:
        with self.outside():
            await super().shutdown_default_executor(*args)

    def _enter_outside(self) -> None:
        if self._outside == 0:
            self._real_start = time.monotonic()
        self._outside += 1

    def _leave_outside(self) -> None:
        now = self.time()
        self._outside -= 1
        if self._outside == 0:
            self._now = now

    def _next_events(self, poll: Callable[[float | None], _Events], timeout: float | None) -> _Events:
        if self._outside:
            self._rounds = 0
            return poll(timeout)
        if timeout == 0:
            self._count_round()
            return poll(0) if self._rounds % POLLED_EVERY == 0 else []
        if events := poll(0):
            self._count_round()
            return events
        self._rounds = 0
        if timeout is None:
            raise InternalError(
                "the virtual radio stands still: every task waits, and nothing is scheduled that could wake one",
                advice="wait for a program, an operator or a socket inside the loop's outside()",
            )
        self._now += timeout
        self._jumps += 1
        if self._jumps % GIVES_WAY_EVERY == 0 and threading.current_thread() is not threading.main_thread():
            time.sleep(_GIVEN)
        return events

    def _count_round(self) -> None:
        self._rounds += 1
        if self._rounds > self._most_rounds:
            self._rounds = 0
            raise InternalError(
                f"the virtual radio stands still: the same instant for {self._most_rounds} rounds of its loop",
                advice="look for what calls itself again and again without waiting",
            )


_Events = list[tuple[selectors.SelectorKey, int]]


class _JumpingSelector(selectors.DefaultSelector):
    """Asks the loop what to do instead of sleeping."""

    def __init__(self, loop: VirtualLoop) -> None:
        super().__init__()
        self._loop = loop

    def select(self, timeout: float | None = None) -> _Events:
        return self._loop._next_events(super().select, timeout)


def run(main: Coroutine[Any, Any, T], *, real_time: bool = False, debug: bool | None = None) -> T:
    """Run a coroutine to its end on a fresh loop, virtual or (with `real_time`) asyncio's own; Ctrl-C cancels it."""
    factory = None if real_time else VirtualLoop
    with asyncio.Runner(loop_factory=factory, debug=debug) as runner:
        return runner.run(main)
