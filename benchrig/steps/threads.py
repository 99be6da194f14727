"""Work that may block for good: in a thread that keeps neither the loop nor the process from ending."""

from __future__ import annotations

import asyncio
import contextlib
import contextvars
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")


@dataclass(frozen=True)
class Done(Generic[T]):
    """What the work came to. Its exception waits here: in a future nobody may be left to take it."""

    value: T | None = None
    error: BaseException | None = None


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
