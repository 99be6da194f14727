"""An event loop in a thread of its own, for who has none: what is asked of it from other threads is done in it."""

from __future__ import annotations

import asyncio
import contextvars
import os
import queue
import threading
from collections.abc import Callable, Coroutine
from types import TracebackType
from typing import Any, Generic, Self, TypeVar

from benchrig.errors import UsageError
from benchrig.loop import tasks_ended
from benchrig.tasks import Tasks

T = TypeVar("T")

# On Windows a thread that waits does not hear Ctrl-C.
_BEAT = 0.2 if os.name == "nt" else -1.0


class _Call(Generic[T]):
    """Something that is asked for, in the context of who asks. Who waits for its end may be interrupted at any moment, so that
    nothing of Python's own that holds a lock inside is waited for."""

    def __init__(self, begin: Callable[[], Coroutine[Any, Any, T]]) -> None:
        self._begin = begin
        self.context = contextvars.copy_context()
        self.task: asyncio.Task[T] | None = None
        self.is_over = self.is_unwanted = False
        self._value: T | None = None
        self._error: BaseException | None = None
        self._lock = threading.Lock()
        self._lock.acquire()

    async def work(self) -> T:
        return await self._begin()

    def ended(self, task: asyncio.Task[T]) -> None:
        error = asyncio.CancelledError() if task.cancelled() else task.exception()
        self.end(error, None if error is not None else task.result())

    def end(self, error: BaseException | None, value: T | None = None) -> None:
        if not self.is_over:
            self._error, self._value, self.is_over = error, value, True
            self._lock.release()

    def interrupt(self) -> None:
        if self.task is None:
            self.end(asyncio.CancelledError())
        else:
            self.task.cancel()

    def wait(self) -> None:
        while not self.is_over:
            if self._lock.acquire(timeout=_BEAT):
                self._lock.release()

    def result(self) -> T:
        if self._error is not None:
            raise self._error
        return self._value  # type: ignore[return-value]


class LoopThread:
    """Its context is open. With `rests` the loop stands still while nothing is asked for, as a virtual clock has to: else it
    would run on for ever in no time. Any thread may ask, but that of the loop."""

    def __init__(self, factory: Callable[[], asyncio.AbstractEventLoop] | None = None, *, rests: bool = False) -> None:
        self._factory, self._rests = factory or asyncio.new_event_loop, rests
        self._asked: queue.SimpleQueue[_Call[Any] | None] = queue.SimpleQueue()
        self._at_work: dict[asyncio.Task[Any], _Call[Any]] = {}
        self._tasks = Tasks()
        self._idle: asyncio.Future[None] | None = None
        self._is_ending = self._is_over = False
        self._thread = threading.Thread(target=self._work, name="benchrig", daemon=True)

    def __enter__(self) -> Self:
        self._loop = self._factory()
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._asked.put(None)
        self._loop.call_soon_threadsafe(self._look)
        self._thread.join()

    def call(self, begin: Callable[[], Coroutine[Any, Any, T]]) -> T:
        """What it comes to. Whatever interrupts who waits, Ctrl-C or another signal, cancels it, and is raised once it has
        ended in order."""
        if threading.current_thread() is self._thread:
            raise UsageError("the loop would wait for itself", advice="use the async form inside coroutines")
        call = _Call(begin)
        try:
            self._ask(call)
            call.wait()
        except BaseException:
            call.is_unwanted = True
            if not self._is_over:
                self._ask(call)  # once more: nobody knows how far it got
                call.wait()
            raise
        return call.result()

    def get(self, value: Callable[[], T]) -> T:
        """A value as it is in the loop; when that is over, as it is for good."""

        async def got() -> T:
            return value()

        return value() if self._is_over else self.call(got)

    def _ask(self, call: _Call[Any]) -> None:
        if self._is_over:
            raise UsageError("the radio is closed", advice="ask for steps inside its 'with'")
        self._asked.put(call)
        self._loop.call_soon_threadsafe(self._look)

    # --- in the thread

    def _work(self) -> None:
        try:
            while (call := self._asked.get()) is not None:
                self._serve(call)
        finally:
            self._is_over = True
            self._close()

    def _serve(self, call: _Call[Any]) -> None:
        """This call and those that come meanwhile; of a loop that never rests all."""
        self._loop.call_soon(self._begin, call)
        while True:
            self._idle = self._loop.create_future()
            try:
                self._loop.run_until_complete(self._idle)
            except BaseException as error:
                self._break_down(error)
                return
            if not self._at_work and (self._rests or self._is_ending):
                return

    def _break_down(self, error: BaseException) -> None:
        """Nobody may wait for what the loop was at."""
        for task, call in self._at_work.items():
            task.cancel()
            call.end(error)
        self._at_work.clear()

    def _look(self) -> None:
        while not self._asked.empty():
            call = self._asked.get()
            if call is None:
                self._asked.put(None)  # for the thread, which ends by it
                self._is_ending = True
                for task in self._at_work:
                    task.cancel()
                self._end()
                return
            self._begin(call)

    def _begin(self, call: _Call[Any]) -> None:
        if call.is_unwanted:
            call.interrupt()
        elif call.task is None:
            task = call.task = self._tasks.start(call.work(), call.context)
            self._at_work[task] = call
            task.add_done_callback(self._ended)
        self._rest()

    def _ended(self, task: asyncio.Task[Any]) -> None:
        call = self._at_work.pop(task, None)
        if call is not None:
            call.ended(task)
        self._rest()

    def _rest(self) -> None:
        if (self._rests or self._is_ending) and not self._at_work:
            self._end()

    def _end(self) -> None:
        if self._idle is not None and not self._idle.done():
            self._idle.set_result(None)

    def _close(self) -> None:
        """A task that does not end when it is cancelled is left behind, and its loop with it."""
        if self._loop.run_until_complete(tasks_ended()):
            self._loop.run_until_complete(self._loop.shutdown_asyncgens())
            self._loop.run_until_complete(self._loop.shutdown_default_executor())
            self._loop.close()
