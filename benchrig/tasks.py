"""Tasks with an owner, who waits for them or ends them. What one raises is told: to whoever takes its result, else at
once to the owner."""

from __future__ import annotations

import asyncio
import contextvars
from collections.abc import Callable, Coroutine
from typing import Any, Self, TypeVar

T = TypeVar("T")


class Tasks:
    """Those of one owner; `close` it with him, or leave its context. `on_error` hears what a task raised that nobody waits
    for; without it the loop's handler does."""

    def __init__(self, on_error: Callable[[Exception], None] | None = None) -> None:
        self._on_error = on_error or _tell_loop
        self._running: set[asyncio.Task[Any]] = set()

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.close()

    def start(self, work: Coroutine[Any, Any, T], context: contextvars.Context | None = None) -> asyncio.Task[T]:
        """A task whose result somebody takes; in a context of its own, or in that of who asks for it."""
        task = asyncio.get_running_loop().create_task(work, context=context)
        self._running.add(task)
        task.add_done_callback(self._running.discard)
        return task

    def leave(self, work: Coroutine[Any, Any, object]) -> asyncio.Task[object]:
        """A task that nobody waits for."""
        task = self.start(work)
        task.add_done_callback(self._told)
        return task

    def ignore(self, task: asyncio.Task[Any]) -> None:
        """Nobody takes the result of a task any more that was started, nor what it may raise."""
        task.add_done_callback(_taken)

    def drop(self, task: asyncio.Task[Any]) -> None:
        """End a task whose result nobody takes any more."""
        self.ignore(task)
        task.cancel()

    async def settled(self) -> None:
        """Wait until none is left."""
        while self._running:
            await asyncio.wait(self._running)

    async def close(self) -> None:
        """End what is left."""
        running = list(self._running)
        for task in running:
            task.cancel()
        await asyncio.gather(*running, return_exceptions=True)

    def _told(self, task: asyncio.Task[object]) -> None:
        if not task.cancelled() and isinstance(error := task.exception(), Exception):
            self._on_error(error)


async def first_of(*works: Coroutine[Any, Any, object]) -> None:
    """Do these beside each other until one of them ends, and end the others. Raises what any of them raised."""
    async with Tasks() as tasks:
        running = [tasks.start(work) for work in works]
        await asyncio.wait(running, return_when=asyncio.FIRST_COMPLETED)
    for task in running:
        if not task.cancelled():
            task.result()


async def undisturbed(task: asyncio.Task[Any], interrupt: Callable[[], None] = lambda: None) -> None:
    """Wait until the task has ended, also when whoever waits is cancelled meanwhile: that calls `interrupt`, and is told
    afterwards."""
    cancelled: asyncio.CancelledError | None = None
    while not task.done():
        try:
            await asyncio.wait([task])
        except asyncio.CancelledError as error:
            cancelled = error
            interrupt()
    if cancelled is not None:
        _taken(task)  # nobody takes it any more
        raise cancelled


def _taken(task: asyncio.Task[Any]) -> None:
    if not task.cancelled():
        task.exception()


def _tell_loop(error: Exception) -> None:
    loop = asyncio.get_running_loop()
    loop.call_exception_handler({"message": "a task failed that nobody waits for", "exception": error})
