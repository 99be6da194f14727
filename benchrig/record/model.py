"""The record that the events of a run add up to (`events.py`)."""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from benchrig.errors import Cause, UsageError
from benchrig.record.events import (
    AttemptFailed,
    Closed,
    DeviceSeen,
    Noted,
    NotJudged,
    Opened,
    PlannedNode,
    Reading,
    RoundsLeft,
    RunEnded,
    RunStarted,
    Verdict,
    Where,
)
from benchrig.source.problem import suggest


class Attempt(msgspec.Struct):
    """One attempt of a step: what it measured, and why another one followed."""

    number: int
    readings: list[Reading] = []
    failed: AttemptFailed | None = None


class Execution(msgspec.Struct):
    """A node of the plan carried out once: what it was and all that it gave."""

    planned: PlannedNode
    where: Where
    opened: Opened | None = None  # None for what was skipped, or not reached
    attempts: list[Attempt] = []
    not_judged: list[NotJudged] = []
    notes: list[Noted] = []
    children: list[Execution] = []
    ended: Closed | None = None  # None for what was cut off, or not reached
    left: RoundsLeft | None = None  # of a repetition: the rounds that are not among the children

    @property
    def counts_as(self) -> Verdict:
        """What its end means for what is around it; pass for what has not ended."""
        verdict = self.ended.counts_as if self.ended else "pass"
        return "pass" if self.planned.excused and verdict in ("fail", "skip") else verdict

    @property
    def readings(self) -> list[Reading]:
        """Those of the attempt that counts."""
        return [] if not self.attempts or self.attempts[-1].failed else self.attempts[-1].readings

    @property
    def retries(self) -> list[AttemptFailed]:
        """The attempts before the one that counts, as far as they were told."""
        return [attempt.failed for attempt in self.attempts if attempt.failed]

    def leaves(self) -> Iterator[Execution]:
        """The executions of steps, in the order of the plan and of the rounds."""
        if self.planned.role == "step":
            yield self
        for child in self.children:
            yield from child.leaves()

    def all(self) -> Iterator[Execution]:
        """It and all that is in it, each before what is in it."""
        yield self
        for child in self.children:
            yield from child.all()


class Record(msgspec.Struct):
    """One run of one plan. `cut_off` when the run was killed before it could say its verdict."""

    run: RunStarted
    nodes: list[Execution]
    devices: dict[str, DeviceSeen] = {}  # what is known of each
    sightings: list[DeviceSeen] = []
    notes: list[Noted] = []
    ended: RunEnded | None = None

    @property
    def steps(self) -> list[Execution]:
        """Every step without steps in it, once for each execution."""
        return [leaf for node in self.nodes for leaf in node.leaves()]

    @property
    def executions(self) -> list[Execution]:
        """Every step, composite ones too, once for each execution."""
        return [each for node in self.nodes for each in node.all()]

    @property
    def unit(self) -> DeviceSeen | None:
        """The first device that was seen: of most plans the only one."""
        return next(iter(self.devices.values()), None)

    @property
    def given_serial(self) -> str:
        """The serial number that the run was started with; '' without one."""
        return self.run.given_serial or self.run.given.get("serial", "")

    @property
    def cut_off(self) -> bool:
        return self.ended is None

    @property
    def verdict(self) -> Verdict | None:
        """Of the run; None when it was cut off."""
        return self.ended.verdict if self.ended else None

    @property
    def cause(self) -> Cause | None:
        """Who is to blame where the verdict is not pass."""
        return self.ended.cause if self.ended else None

    @property
    def message(self) -> str:
        """Why the verdict is not pass."""
        return self.ended.message if self.ended else "the run was cut off"

    def step(self, name: str | int) -> Execution:
        """The first execution of a step, by its name or its number ('4', '4.2'). UsageError where there is none."""
        for each in self.executions:
            if str(name) in (each.planned.name, each.planned.id):
                return each
        names = [each.planned.name for each in self.executions]
        raise UsageError(f"the record has no step '{name}'", advice=suggest(str(name), names))

    def reading(self, step: str | int, name: str = "value") -> Reading:
        """A reading of that step; the last one of its name. UsageError where there is none."""
        readings = {each.name: each for each in self.step(step).readings}
        if name not in readings:
            raise UsageError(f"step '{step}' has no reading '{name}'", advice=suggest(name, readings))
        return readings[name]
