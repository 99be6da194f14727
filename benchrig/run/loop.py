"""What an event loop needs around the work: signals that interrupt it, and errors that nobody waited for."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable, Iterator
from typing import Any

from benchrig.errors import InternalError


def outside() -> contextlib.AbstractContextManager[None]:
    """While something outside the air is awaited: a person, a program. The clock of a virtual radio is the real one
    meanwhile; every other one is always."""
    clock: Any = getattr(asyncio.get_running_loop(), "outside", contextlib.nullcontext)
    return clock()  # type: ignore[no-any-return]


@contextlib.contextmanager
def attended_loop(interrupt: Callable[[], None]) -> Iterator[None]:
    """Inside the running loop: signals call `interrupt`; an error that was raised where nobody waited for it becomes
    an InternalError once the work is done."""
    stray: list[str] = []
    loop = asyncio.get_running_loop()
    loop.set_exception_handler(lambda _, context: stray.append(str(context.get("exception") or context["message"])))
    with _signals(interrupt):
        yield
    if stray:
        raise InternalError(f"an error was raised where nobody waited for it: {stray[0]}")


@contextlib.contextmanager
def _signals(interrupt: Callable[[], None]) -> Iterator[None]:
    """Ctrl-C, SIGTERM and a closed terminal interrupt the run instead of ending the process."""
    loop = asyncio.get_running_loop()
    numbers = [signal.SIGINT, signal.SIGTERM]
    if hasattr(signal, "SIGHUP"):  # a terminal that is closed
        numbers.append(signal.SIGHUP)
    try:
        for number in numbers:
            loop.add_signal_handler(number, interrupt)
    except NotImplementedError:  # Windows: its loop takes no signal handlers
        signal.signal(signal.SIGINT, lambda *_: loop.call_soon_threadsafe(interrupt))
        yield
        signal.signal(signal.SIGINT, signal.default_int_handler)
        return
    try:
        yield
    finally:
        for number in numbers:
            loop.remove_signal_handler(number)
