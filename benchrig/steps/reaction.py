"""How long after a step what is listened to changes as it should."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import msgspec

from benchrig.source.problem import counted
from benchrig.source.shape import Misfit
from benchrig.steps.base import ReadingType
from benchrig.steps.composite import CompositeBench
from benchrig.steps.waiting import Goal
from benchrig.values.limit import Limit


class Reaction(msgspec.Struct, kw_only=True, omit_defaults=True, frozen=True):
    """The time from the begin of a step to the first sample after it that satisfies these limits."""

    after: str
    until: dict[str, Limit]

    def misfits(self) -> Iterable[Misfit]:
        if not self.until:
            yield Misfit("until names no reading", "for example: until: {ride.value.power: {min: 250 W}}", ("until",))

    @property
    def type(self) -> ReadingType:
        return ReadingType("number", "s", f"from the begin of '{self.after}' to the first sample that satisfies it")


class Reacting:
    """One reaction in a run: what streams bring is held against it from the first begin of its `step` on."""

    def __init__(self, reaction: Reaction, step: str, types: Mapping[str, ReadingType]) -> None:
        self._goal, self._step, self._name = Goal(reaction.until, types), step, reaction.after
        self._until = reaction.until
        self._latest: dict[str, Mapping[str, Any]] = {}
        self._began: float | None = None
        self._samples = 0
        self._after: float | None = None
        self._was_met = False

    def begins(self, step: str, at: float) -> None:
        if step == self._step and self._began is None:
            self._was_met = self._goal.fits(self._all)
            self._began, self._latest = at, {}

    def hear(self, stream: str, found: Mapping[str, Any], at: float) -> None:
        """A sample of one stream, its readings by their whole names."""
        if self._after is not None or self._until.keys().isdisjoint(found):
            return
        self._latest[stream] = found
        self._samples += self._began is not None
        if self._began is not None and self._goal.is_met(self._all):
            self._after = round(at - self._began, 6)

    @property
    def _all(self) -> dict[str, Any]:
        """The last readings of all streams."""
        return {name: value for found in self._latest.values() for name, value in found.items()}

    def report(self, bench: CompositeBench, name: str) -> None:
        if self._was_met:
            bench.note(f"{name}: the last sample before '{self._name}' satisfied it already")
        bench.reading(name, self._after, "s", why="" if self._after is not None else self._lack)

    @property
    def _lack(self) -> str:
        if self._began is None:
            return f"the step '{self._name}' did not begin"
        heard = counted(self._samples, "notification")
        return f"{self._goal.unmet('none arrived')}, {heard} after '{self._name}' began"
