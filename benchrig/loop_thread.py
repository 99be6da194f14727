"""An event loop in a thread of its own, for who has none: what is asked of it from other threads is done in it."""

from __future__ import annotations

import asyncio
import concurrent.futures
import contextvars
import os
import queue
import threading
from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from types import TracebackType
from typing import Any, Generic, Self, TypeVar

from benchrig.errors import UsageError
from benchrig.loop import tasks_ended

T = TypeVar("T")

# On Windows a thread that waits does not hear Ctrl-C.
_BEAT = 0.2 if os.name == "nt" else None


@dataclass(eq=False)
class _Call(Generic[T]):
    """Something that is asked for, in the context of who asks."""

    begin: Callable[[], Coroutine[Any, Any, T]]
    context: contextvars.Context = field(default_factory=contextvars.copy_context)
    done: concurrent.futures.Future[T] = field(default_factory=concurrent.futures.Future)
    task: asyncio.Task[T] | None = None

    def start(self, loop: asyncio.AbstractEventLoop) -> asyncio.Task[T]:
        self.task = loop.create_task(self.begin(), context=self.context)
        return self.task

    def end(self, task: asyncio.Task[T]) -> None:
        if self.done.done():
            return
        if task.cancelled():
            self.done.set_exception(asyncio.CancelledError())
        elif (error := task.exception()) is not None:
            self.done.set_exception(error)
        else:
            self.done.set_result(task.result())

    def interrupt(self) -> None:
        if self.task is not None:
            self.task.cancel()


class LoopThread:
    """Its context is open. With `rests` the loop stands still while nothing is asked for, as a virtual clock has to: else it
    would run on for ever in no time. Any thread may ask, but that of the loop."""

    def __init__(self, factory: Callable[[], asyncio.AbstractEventLoop] | None = None, *, rests: bool = False) -> None:
        self._factory, self._rests = factory or asyncio.new_event_loop, rests
        self._asked: queue.SimpleQueue[_Call[Any] | None] = queue.SimpleQueue()
        self._at_work: dict[asyncio.Task[Any], _Call[Any]] = {}
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
        self._ask(call)
        try:
            _await(call.done)
        except BaseException:
            self._loop.call_soon_threadsafe(call.interrupt)
            _await(call.done)
            raise
        return call.done.result()

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
        self._begin(call)
        while self._at_work or not (self._rests or self._is_ending):
            self._idle = self._loop.create_future()
            try:
                self._loop.run_until_complete(self._idle)
            except BaseException as error:
                self._break_down(error)
                return

    def _break_down(self, error: BaseException) -> None:
        """Nobody may wait for what the loop was at."""
        for task, call in self._at_work.items():
            task.cancel()
            if not call.done.done():
                call.done.set_exception(error)
        self._at_work.clear()

    def _look(self) -> None:
        while not self._asked.empty():
            call = self._asked.get()
            if call is None:
                self._asked.put(None)  # for the thread, which ends by it
                self._is_ending = True
                self._end()
                return
            self._begin(call)

    def _begin(self, call: _Call[Any]) -> None:
        task = call.start(self._loop)
        self._at_work[task] = call
        task.add_done_callback(self._ended)

    def _ended(self, task: asyncio.Task[Any]) -> None:
        call = self._at_work.pop(task, None)
        if call is not None:
            call.end(task)
        if self._rests and not self._at_work:
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


def _await(future: concurrent.futures.Future[Any]) -> None:
    while not future.done():
        concurrent.futures.wait([future], timeout=_BEAT)
