"""Runs that are over into their history, one after the other, while the line goes on."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from typing import Protocol

from benchrig.loop import outside
from benchrig.source.problem import counted
from benchrig.threads import in_thread


class Deliverable(Protocol):
    def deliver(self) -> str: ...


class Deliveries:
    """`changed` is called when `note` says something else."""

    def __init__(self, changed: Callable[[], None]) -> None:
        self._changed = changed
        self._left = deque[Deliverable]()
        self._there, self._one_at_a_time = asyncio.Event(), asyncio.Lock()
        self._waiting, self._trouble = 0, ""

    @property
    def note(self) -> str:
        """What to say of the runs that the history has not taken; '' for none."""
        if not self._waiting:
            return ""
        return f"{counted(self._waiting, 'run')} not yet in the history: {self._trouble}"

    def add(self, one: Deliverable) -> None:
        self._left.append(one)
        self._there.set()

    async def work(self) -> None:
        """Until it is cancelled."""
        while True:
            await self._there.wait()
            await self.emptied()

    async def emptied(self, *, patient: bool = True) -> None:
        """Deliver what is left. What a history does not take now waits beside its run: the next one takes it along. Who is
        not `patient` tries it once, and leaves the others waiting."""
        async with self._one_at_a_time:
            while self._left and (patient or not self._waiting):
                said = await _delivered(self._left.popleft())
                self._waiting, self._trouble = (self._waiting + 1, said) if said else (0, "")
                self._changed()
            self._waiting += len(self._left)
            self._left.clear()
            self._there.clear()


async def _delivered(one: Deliverable) -> str:
    with outside():
        done = await in_thread(one.deliver)
    return str(done.error) if done.error is not None else done.value or ""
