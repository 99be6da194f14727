"""A run that its caller carries out step by step. Its loop rests in between, and with it all that happens on the air."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Coroutine, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from benchrig.launch import Finished, PreparedRun, RunOptions, prepared
from benchrig.loop import OwnLoop, attended_loop
from benchrig.plan.tree import StepPlan
from benchrig.record.events import AnyEvent
from benchrig.steps.bench import Operator
from benchrig.tasks import Tasks

T = TypeVar("T")


@dataclass
class _Pace:
    """Which steps may be done, by their places. It does not refer to the run, which refers to it: the two would keep each
    other, and the plan, until Python looks for garbage."""

    places: Mapping[str, int]
    at_rest: asyncio.Event = field(default_factory=asyncio.Event)
    _may_go: asyncio.Event = field(default_factory=asyncio.Event)
    _allowed: float = -1

    def go_on(self, allowed: float) -> None:
        self._allowed = max(self._allowed, allowed)
        self.at_rest.clear()
        self._may_go.set()

    async def __call__(self, node: StepPlan | None) -> None:
        place = self.places[node.id] if node is not None else len(self.places)
        while place > self._allowed:
            self._may_go.clear()
            self.at_rest.set()
            await self._may_go.wait()


class SteppedRun:
    """Begun by the first `advance`, ended by `finish`. Raises as `launch` does."""

    def __init__(
        self, options: RunOptions, operator: Operator, listeners: Sequence[Callable[[AnyEvent], None]] = ()
    ) -> None:
        self._pace = _Pace({node.id: place for place, node in enumerate(options.nodes)})
        self._resources = ExitStack()
        self._run: PreparedRun = self._resources.enter_context(prepared(options, operator, listeners, self._pace))
        # one that is made so is nobody's current loop: other plugins have theirs
        self._loop = self._resources.enter_context(OwnLoop(self._run.loop_factory or asyncio.new_event_loop))
        self._tasks = Tasks()
        self._task: asyncio.Task[Finished] | None = None
        self._waiting: asyncio.Task[Any] | None = None
        # by a signal; by that or by anything else that breaks in
        self.is_interrupted = self._is_stopped = False

    @property
    def folder(self) -> Path:
        return self._run.runner.settings.folder

    @property
    def events(self) -> list[AnyEvent]:
        """All that is on record so far."""
        return self._run.events.kept

    def advance(self, node: str) -> None:
        """Carry out the steps up to this one, and rest before the next. A signal interrupts the run: the steps end, the clean-up
        waits for `finish`. So does what another plugin raises in the loop, such as the end of its time for an item."""
        try:
            self._attended(self._until_rest(self._pace.places[node]))
        except BaseException:
            if self._task is None or self._task.done():
                self._resources.close()  # the loop broke down, or the run: there is nothing to finish
            else:
                self._loop.run(self._stopped())
            raise

    def finish(self, *, interrupt: bool) -> Finished:
        """Whatever is left, to the reports: the steps too, unless they are to `interrupt`. All is closed behind it."""
        try:
            return self._attended(self._to_end(interrupt))
        finally:
            self._resources.close()

    def _attended(self, work: Coroutine[Any, Any, T]) -> T:
        """Signals are taken over around the loop: inside it asyncio would do so first, for each step anew."""
        with attended_loop(self._interrupt, self._run.stray, self._loop.loop):
            return self._loop.run(work)

    async def _until_rest(self, allowed: float) -> None:
        self._waiting = asyncio.current_task()
        self._pace.go_on(allowed)
        self._task = self._task or self._tasks.start(self._whole())
        if not self._task.done():
            await self._pace.at_rest.wait()
        if self._task.done():
            self._task.result()

    async def _to_end(self, interrupt: bool) -> Finished:
        if interrupt and not self._is_stopped:  # a second time leaves out the clean-up
            self._run.interrupt()
        await self._until_rest(math.inf)
        assert self._task is not None
        return self._task.result()

    async def _whole(self) -> Finished:
        try:
            return await self._run.run()
        finally:
            self._pace.at_rest.set()

    async def _stopped(self) -> None:
        """The run is to go on no further; nobody waits for its rest any more."""
        if self._waiting is not None:
            self._waiting.cancel()
            await asyncio.wait([self._waiting])
        self._is_stopped = True
        self._run.interrupt()

    def _interrupt(self) -> None:
        self.is_interrupted = self._is_stopped = True
        self._run.interrupt()
