"""A composite step that Python holds open: what is asked for meanwhile is in it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from benchrig.errors import BenchrigError
from benchrig.plan.tree import StepPlan
from benchrig.radio.device import DeviceSession
from benchrig.record.events import Closed, Where
from benchrig.run.control import Control
from benchrig.run.inside import Around, Inside, Walker, came_of
from benchrig.steps.composite import Came, Watch
from benchrig.tasks import first_of


@dataclass(eq=False)
class OpenStep:
    """Such a step at work. `turn` is held while a step is at work in it, `on_loss` called when its link has ended."""

    plan: StepPlan
    turn: asyncio.Lock
    device: DeviceSession
    on_loss: Callable[[], None]
    control: Control = field(default_factory=Control)
    is_open: asyncio.Event = field(default_factory=asyncio.Event)
    is_over: asyncio.Event = field(default_factory=asyncio.Event)
    # whether its link was meant to end, and has ended
    is_mute: bool = False
    # why it was broken off: its streams prove nothing then
    broken_off: BenchrigError | None = None
    # what is around the steps in it
    around: Around | None = None
    # the steps in it, and how those ended whose failure counts
    children: list[StepPlan] = field(default_factory=list)
    ended: list[Closed] = field(default_factory=list)


class OpenInside(Inside):
    """What is in it is not known yet: it lasts until it is left, or its link is lost against the plan."""

    def __init__(self, plan: StepPlan, where: Where, around: Around, walker: Walker, held: OpenStep) -> None:
        super().__init__(plan, where, around, walker)
        self._held = held

    async def run(
        self,
        part: str = "steps",
        values: Mapping[str, Any] | None = None,
        watch: Watch | None = None,
        since: float | None = None,
        within: float | None = None,
    ) -> Came:
        held = self._held
        self._left.pop(part, None)
        held.around = self._around_of(part, watch, within)
        held.is_open.set()
        if (link := held.device.last) is not None:
            await first_of(held.is_over.wait(), link.lost.wait())
            if not held.is_over.is_set():
                await self._after_loss()
        await held.is_over.wait()
        if held.broken_off is not None:
            raise held.broken_off
        came = came_of(held.ended, over=self._walker.is_over(self._plan))
        if came.error is not None and came.error.verdict == "error":
            raise came.error  # before the streams are ended, which may fail for the same reason
        return replace(came, begun=max(1, came.begun))

    async def _after_loss(self) -> None:
        """A step in it may have been meant to end the link: that is known when that one has ended."""
        held = self._held
        async with held.turn:
            if held.device.is_up or held.device.was_ended:
                held.is_mute = True
            else:
                held.is_over.set()
        held.on_loss()
