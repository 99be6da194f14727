"""The way of a run that grows: it carries out what it is asked for, and tells how each step ended."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Any

from benchrig.api.opened import OpenInside, OpenStep
from benchrig.errors import BenchrigError
from benchrig.plan.tree import StepPlan
from benchrig.record.events import Where
from benchrig.run.ending import Ended
from benchrig.run.inside import Around, Inside
from benchrig.run.walk import Walk
from benchrig.steps.base import Cap
from benchrig.steps.composite import Watch


@dataclass
class GrowingWalk(Walk):
    """`errors` are those of the steps that did not pass, by the step."""

    errors: dict[Where, BenchrigError | None] = field(default_factory=dict)
    # the step that is to be held open
    opening: OpenStep | None = None
    # held while a step begins and is at work
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)

    def told(self, where: Where, ended: Ended) -> None:
        if ended.event.verdict != "pass":
            self.errors[where] = ended.error
        else:
            self._takes_no_blame(where)

    def _takes_no_blame(self, where: Where) -> None:
        """A link that was meant to end in a step that is held open: what comes next is tried, and finds that by itself."""
        for device, cap in [key for key, root in self._losses.since.items() if root == where and key[1] is Cap.LINK]:
            del self._losses.since[device, cap]

    def inside(self, plan: StepPlan, where: Where, around: Around) -> Inside:
        if self.opening is None or self.opening.plan is not plan:
            return super().inside(plan, where, around)
        return OpenInside(plan, where, around, self, self.opening)

    def misses_link(self, device: str) -> bool:
        """Whether a step has found that there is no link to the device any more."""
        return (device, Cap.LINK) in self._losses.since

    def go_on(self) -> None:
        """Whoever asks for the next step knows how the last one ended: none ends the run by itself."""
        self._losses.stop = None


@dataclass
class Natives(Watch):
    """The values of one step as they were before they became text for the record. `wanted` are readings that it may else
    leave out; None for all."""

    wanted: frozenset[str] | None = frozenset()
    values: dict[str, Any] = field(default_factory=dict)
    # the name of the step: it sees those inside too
    step: str = ""

    def wants(self, step: str, reading: str) -> bool:
        return step == self.step and reading != "att_error" and (self.wanted is None or reading in self.wanted)

    def measured(self, step: str, reading: str, value: Any, unit: str, raw: bytes | None) -> None:
        if step == self.step:
            self.values[reading] = value
