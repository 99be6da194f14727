"""Work on all cores: processes that have all that this one has loaded, each given one thing to do after the other.

Without fork (Windows, and macOS, where it is not safe) the work is done here, one thing after the other.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import time
import warnings
from collections import deque
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from typing import TYPE_CHECKING, Generic, TypeAlias, TypeVar

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess

T = TypeVar("T")
Work: TypeAlias = Callable[[int], T]

# What one thing may take, in seconds of this computer: virtual time costs none, so longer is for ever.
PATIENCE = 600.0
# A process has so many things at a time, so that it need not wait for the next one.
_AHEAD = 2
# What a process may take to end the thing that it is at, when nobody wants it any more.
_ENDS_WITHIN = 5.0
_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")


@dataclass(frozen=True)
class Lost:
    """The work was not done: what raised, or how the process ended."""

    reason: str


def cores() -> int:
    """Those that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def can_fork() -> bool:
    return sys.platform != "darwin" and "fork" in multiprocessing.get_all_start_methods()


def done(
    work: Work[T], count: int, jobs: int, patience: float = PATIENCE
) -> Generator[tuple[int, T | Lost], None, None]:
    """What `work` gives for each number below `count`, in the order in which it is done. No process outlives this."""
    if not can_fork():
        yield from ((number, _tried(work, number)) for number in range(count))
        return
    pool = _Pool(work, deque(range(count)), patience)
    try:
        yield from pool.run(min(jobs, count))
    finally:
        pool.end()


def _tried(work: Work[T], number: int) -> T | Lost:
    try:
        return work(number)
    except Exception as error:
        return Lost(f"{type(error).__name__}: {error}")


@dataclass
class _Worker:
    process: BaseProcess
    pipe: Connection
    # what it was given and has not done, the first of it since when
    given: deque[int] = field(default_factory=deque)
    since: float = 0.0


@dataclass
class _Pool(Generic[T]):
    work: Work[T]
    waiting: deque[int]
    patience: float
    workers: list[_Worker] = field(default_factory=list)

    def run(self, jobs: int) -> Iterator[tuple[int, T | Lost]]:
        for _ in range(jobs):
            self._begin()
        while self.workers:
            ready = wait([worker.pipe for worker in self.workers], timeout=min(1.0, self.patience))
            for worker in [each for each in self.workers if each.pipe in ready]:
                yield from self._heard(worker)
            for worker in [each for each in self.workers if self._hangs(each)]:
                yield self._lost(worker, f"was not done after {self.patience:g} s, and was ended")

    def end(self) -> None:
        """A process that nobody writes to any more ends, when it is done with what it is at."""
        for worker in self.workers:
            worker.pipe.close()
        for worker in self.workers:
            worker.process.join(_ENDS_WITHIN)
            worker.process.kill()
            worker.process.join()
        self.workers.clear()

    def _begin(self) -> None:
        context = multiprocessing.get_context("fork")
        ours, theirs = context.Pipe()
        # a process that holds on to the end of another one's pipe would keep that one waiting for ever
        others = [ours, *(worker.pipe for worker in self.workers)]
        process = context.Process(target=_serve, args=(self.work, theirs, others), daemon=True)
        with _signals_blocked(), warnings.catch_warnings():
            # Python warns where a thread is at work, as one is that draws a line on the terminal: no process here draws
            warnings.simplefilter("ignore", DeprecationWarning)
            process.start()
        theirs.close()
        worker = _Worker(process, ours)
        self.workers.append(worker)
        self._give(worker)

    def _give(self, worker: _Worker) -> None:
        """Its next things to do; one that has none left ends."""
        worker.since = time.monotonic()
        while self.waiting and len(worker.given) < _AHEAD:
            worker.given.append(self.waiting[0])
            try:
                worker.pipe.send(self.waiting.popleft())
            except OSError:  # it has died: its pipe says so too
                return
        if not worker.given:
            worker.pipe.close()
            worker.process.join()
            self.workers.remove(worker)

    def _heard(self, worker: _Worker) -> Iterator[tuple[int, T | Lost]]:
        try:
            answer: T | Lost = worker.pipe.recv()
        except (EOFError, OSError):
            worker.process.join()
            yield self._lost(worker, f"the process that ran it ended with code {worker.process.exitcode}")
            return
        yield worker.given.popleft(), answer
        self._give(worker)

    def _lost(self, worker: _Worker, reason: str) -> tuple[int, Lost]:
        """What it was at is lost, what it had not begun is given to another one in its place."""
        worker.process.kill()
        worker.process.join()
        worker.pipe.close()
        self.workers.remove(worker)
        number, *rest = worker.given
        self.waiting.extendleft(reversed(rest))
        if self.waiting:
            self._begin()
        return number, Lost(reason)

    def _hangs(self, worker: _Worker) -> bool:
        return time.monotonic() - worker.since > self.patience


@contextlib.contextmanager
def _signals_blocked() -> Iterator[None]:
    """One that comes while a process is made is for this one, when it is made: what runs in between swallows an
    interrupt, and the new process does not ignore it yet."""
    numbers = {getattr(signal, name) for name in _SIGNALS}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, numbers)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(work: Work[T], pipe: Connection, others: list[Connection]) -> None:
    """In the process: signals are the business of the one that asks, which closes its end."""
    for name in _SIGNALS:
        signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {getattr(signal, name) for name in _SIGNALS})
    for other in others:
        other.close()
    with contextlib.suppress(EOFError, OSError):  # nobody asks for more, or wants the answer
        while True:
            pipe.send(_tried(work, pipe.recv()))
