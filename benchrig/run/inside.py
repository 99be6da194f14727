"""The steps in a composite step, as its action gets them: carried out, counted, left out."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple, Protocol

from benchrig.errors import InnerError
from benchrig.plan.filling import late_value
from benchrig.plan.inner import InnerReadings
from benchrig.plan.tree import StepPlan
from benchrig.record.events import Closed, Where, worst
from benchrig.run.context import Surroundings
from benchrig.run.control import Control
from benchrig.run.leaving import ENDED, Reason
from benchrig.run.scope import known_inside
from benchrig.steps.composite import Came, InnerReading, Watch


class Bound(NamedTuple):
    """The time that steps have together in another one, which ends at `ends` on the loop's clock."""

    seconds: float
    ends: float


@dataclass(frozen=True)
class Around:
    """What is around a step: the surroundings of the run, who watches it, and whether a limit decides about its failure."""

    run: Surroundings
    watches: tuple[Watch, ...] = ()
    tolerated: bool = False
    # the step inside in which the link may be lost, by its id
    lets_go: str = ""
    # whether the step around it needs the link meanwhile
    holds_link: bool = False
    # what the step around it can wait for this one
    bound: Bound | None = None


class Walker(Protocol):
    """What carries out one step, whatever is in it."""

    control: Control

    async def carry_out(self, plan: StepPlan, where: Where, around: Around) -> Closed: ...
    def leave_out(self, plan: StepPlan, where: Where, why: Reason, around: Around) -> Closed: ...
    def next_round(self) -> None: ...
    def is_over(self, plan: StepPlan) -> bool: ...


class Inside:
    """Of one execution of a composite step (steps/composite.py)."""

    def __init__(self, plan: StepPlan, where: Where, around: Around, walker: Walker) -> None:
        self._plan, self._where, self._walker = plan, where, walker
        lets_go = plan.lets_go.id if plan.lets_go else ""
        self._around = replace(around, tolerated=around.tolerated or plan.tolerates, lets_go=lets_go)
        self._readings = InnerReadings(plan)
        # the parts that nothing was done about yet
        self._left = {part.name: part.steps for part in plan.parts}
        self._parts = dict(self._left)
        self._round = 0

    def called(self, name: str) -> str | None:
        return self._readings.called(name)

    def value(self, key: str) -> Any:
        return late_value(self._plan, key, self._around.run.values)

    def find(self, name: str) -> InnerReading | None:
        return self._readings.find(name)

    async def run(
        self,
        part: str = "steps",
        values: Mapping[str, Any] | None = None,
        watch: Watch | None = None,
        since: float | None = None,
        within: float | None = None,
    ) -> Came:
        if since is not None:
            self._around.run.before.began = since
        self._left.pop(part, None)
        around, rounds, closed = self._around_of(part, watch, within), self._next_rounds(), list[Closed]()
        with self._cleaning_up(part), self._known(values or {}):
            for plan in self._parts.get(part, ()):
                closed.append(await self._walker.carry_out(plan, Where(plan.id, rounds), around))
        return came_of(closed, over=self._walker.is_over(self._plan))

    def _around_of(self, part: str, watch: Watch | None, within: float | None) -> Around:
        holds = self._around.holds_link or part in getattr(self._plan.kind, "keeps_link", ())
        watches = self._around.watches if watch is None else (*self._around.watches, watch)
        bound = Bound(within, self._around.run.clock.now() + within) if within is not None else self._around.bound
        return replace(self._around, watches=watches, holds_link=holds, bound=bound)

    def _next_rounds(self) -> tuple[int, ...]:
        """The rounds in which the steps stand from now on."""
        if self._plan.role != "repeat":
            return self._where.rounds
        self._round += 1
        self._walker.next_round()
        return (*self._where.rounds, self._round)

    def _cleaning_up(self, part: str) -> contextlib.AbstractContextManager[None]:
        return self._walker.control.cleaning_up() if part == "finally" else contextlib.nullcontext()

    def _known(self, values: Mapping[str, Any]) -> contextlib.AbstractContextManager[None]:
        """References to these work."""
        return known_inside(self._around.run.values, values, self._around.run.defined)

    # --- left out

    def leave_out(self, part: str, error: InnerError) -> Came:
        came = Came(failed=len(self._left.get(part, ())))
        self._leave_out(part, Reason(error.root, error.reason))
        return came

    def leave_out_rest(self, message: str) -> None:
        """What nothing was done about: each step in it ends once all the same."""
        for part in [*self._left]:
            self._leave_out(part, Reason(self._where, message))

    def _leave_out(self, part: str, why: Reason) -> None:
        rounds = (*self._where.rounds, 1) if self._plan.role == "repeat" else self._where.rounds
        for plan in self._left.pop(part, ()):
            self._walker.leave_out(plan, Where(plan.id, rounds), why, self._around)


def came_of(closed: Sequence[Closed], *, over: bool) -> Came:
    """What the steps of a part came to by their ends."""
    passed = sum(event.verdict == "pass" for event in closed)
    failed = sum(event.counts_as != "pass" for event in closed)
    begun = sum(event.verdict != "skip" or (event.elapsed > 0 and not event.allowed) for event in closed)
    return Came(passed, failed, begun, _error(closed), over)


def _error(closed: Sequence[Closed]) -> InnerError | None:
    """What the steps came to when not all passed: the worst of it, and of that the first."""
    verdict = worst(event.counts_as for event in closed)
    if verdict == "pass":
        return None
    event = next(event for event in closed if event.counts_as == verdict)
    said = f"step {event.where.label} {ENDED[verdict]}"
    if verdict == "skip":
        return InnerError(event.message, verdict, "plan", event.root, event.message)
    # what is said of a composite step names the one in it already
    message = event.message if event.root is not None else f"{said}: {event.message}"
    return InnerError(message, verdict, event.cause or "internal", event.where, said)
