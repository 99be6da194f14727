"""Work that may block for good: in a thread that keeps neither the loop nor the process from ending, or not begun before
there is something to read."""

from __future__ import annotations

import asyncio
import contextlib
import contextvars
import os
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

T = TypeVar("T")

# On Windows no loop watches a console or a pipe: some say so, others fail when they look.
LOOPS_WATCH_FILES = os.name != "nt"


@dataclass(frozen=True)
class Done(Generic[T]):
    """What the work came to. Its exception waits here: in a future nobody may be left to take it."""

    value: T | None = None
    error: BaseException | None = None

    def result(self) -> T:
        """Raises what the work raised."""
        if self.error is not None:
            raise self.error
        return self.value  # type: ignore[return-value]


def in_thread(work: Callable[[], T]) -> asyncio.Future[Done[T]]:
    """Start the work; the future is done when it is. Cancelling the future leaves the work alone."""
    loop = asyncio.get_running_loop()
    future: asyncio.Future[Done[T]] = loop.create_future()
    context = contextvars.copy_context()

    def run() -> None:
        try:
            done = Done(context.run(work))
        except BaseException as exc:
            done = Done[T](error=exc)
        with contextlib.suppress(RuntimeError):  # the loop is closed
            loop.call_soon_threadsafe(_settle, future, done)

    threading.Thread(target=run, daemon=True).start()
    return future


def _settle(future: asyncio.Future[Done[T]], done: Done[T]) -> None:
    if not future.done():
        future.set_result(done)


async def once_readable(descriptor: int, read: Callable[[], T]) -> T:
    """What `read` gives when there is something to read; a virtual clock is the real one until then."""
    loop = asyncio.get_running_loop()
    outside: Any = getattr(loop, "outside", contextlib.nullcontext)
    if not LOOPS_WATCH_FILES:
        with outside():
            return (await in_thread(read)).result()
    there: asyncio.Future[None] = loop.create_future()
    try:
        loop.add_reader(descriptor, _wake, there)
    except PermissionError:  # a regular file: it is always readable
        return read()
    try:
        with outside():
            await there
    finally:
        loop.remove_reader(descriptor)
    return read()


def _wake(waiting: asyncio.Future[None]) -> None:
    if not waiting.done():
        waiting.set_result(None)
