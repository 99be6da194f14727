"""What an event loop needs around the work: signals that interrupt it, errors that nobody waited for, tasks that would
keep it for ever."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Coroutine, Iterator
from typing import Any, Self, TypeAlias, TypeVar

from benchrig import signals
from benchrig.errors import InternalError, OperatorError
from benchrig.tasks import Tasks

T = TypeVar("T")
Factory: TypeAlias = Callable[[], asyncio.AbstractEventLoop]

# What tasks that are left over may take to end.
TASKS_WITHIN = 2.0


def outside() -> contextlib.AbstractContextManager[None]:
    """While something outside the air is awaited: a person, a program. The clock of a virtual radio is the real one
    meanwhile; every other one is always."""
    clock: Any = getattr(asyncio.get_running_loop(), "outside", contextlib.nullcontext)
    return clock()  # type: ignore[no-any-return]


@contextlib.contextmanager
def attended_loop(
    interrupt: Callable[[], None],
    stray: Callable[[str], None] | None = None,
    loop: asyncio.AbstractEventLoop | None = None,
) -> Iterator[None]:
    """Inside the running loop, or around one that is to run: signals call `interrupt` in it; `stray` is told of an error
    that was raised where nobody waited for it. Without it such an error becomes an InternalError once the work is done."""
    loop = loop or asyncio.get_running_loop()
    errors: list[str] = []
    told = stray or errors.append
    loop.set_exception_handler(lambda _, context: told(str(context.get("exception") or context["message"])))
    with signals.handed_to(lambda: loop.call_soon_threadsafe(interrupt)):
        yield
    if errors:
        raise InternalError(f"an error was raised where nobody waited for it: {errors[0]}")


async def interruptible(work: Coroutine[Any, Any, T]) -> T:
    """The result of the work. The first signal cancels it: OperatorError, unless it ends in order nevertheless."""
    task = Tasks().start(work)
    interrupted = False

    def interrupt() -> None:
        # once: what follows is the clean-up, which is bounded
        nonlocal interrupted
        if not interrupted:
            interrupted = True
            task.cancel()

    with attended_loop(interrupt):
        try:
            return await task
        except asyncio.CancelledError:
            raise OperatorError("interrupted") from None


def in_loop(work: Coroutine[Any, Any, T], factory: Factory | None) -> T:
    """The result of the work in a loop of its own."""
    with OwnLoop(factory) as loop:
        return loop.run(work)


class OwnLoop:
    """A loop for one piece of work after the other; it rests in between. A task that does not end when it is cancelled (of
    a function that a plan calls) is left behind; it does not keep the process."""

    def __init__(self, factory: Factory | None) -> None:
        self._runner = asyncio.Runner(loop_factory=factory)

    @property
    def loop(self) -> asyncio.AbstractEventLoop:
        return self._runner.get_loop()

    def run(self, work: Coroutine[Any, Any, T]) -> T:
        return self._runner.run(work)

    def close(self) -> None:
        loop = self.loop
        if self._runner.run(tasks_ended()):
            self._runner.close()
            # whatever still refers to the loop must not keep the work, which was told of errors
            loop.set_exception_handler(_ignored)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _ignored(*_: object) -> None:
    """An error behind the end: nobody is there to be told."""


async def tasks_ended() -> bool:
    """End all tasks of the running loop; whether they have."""
    others = asyncio.all_tasks() - {asyncio.current_task()}
    for task in others:
        task.cancel()
    return not others or not (await asyncio.wait(others, timeout=TASKS_WITHIN))[1]
