"""One step without steps in it, judged again: its attempts, its limits, its end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from msgspec.structs import replace

from benchrig.errors import BenchrigError, UnfitValue
from benchrig.plan.filling import filled, partly_filled
from benchrig.plan.inner import readings_of
from benchrig.plan.tree import StepPlan
from benchrig.record.events import Closed, NotJudged, Reading, Where
from benchrig.record.model import Attempt, Execution
from benchrig.rejudge import facts
from benchrig.rejudge.limits import Held, LimitsAgain, broken, judged
from benchrig.rejudge.typed import saved_value
from benchrig.rejudge.walk import Again, Begun, Done, Unknown
from benchrig.run.ending import Ended, closing, concluded
from benchrig.run.judge import Judge
from benchrig.source.shape import Misfit, is_late
from benchrig.steps.base import ReadingType, Step

_RETRIED = ("link", "device", "station")
OF_THE_PLAN = "a mistake of the plan of the run ended it, or the time of that plan"
_NOT_TAKEN = "the run has not taken the reading"


def leaf(again: Again, begun: Begun) -> Closed | None:
    """Its end; None where nobody can say it."""
    recorded = begun.recorded
    taken = Taken(again, begun.without, recorded)
    for attempt in _attempts(recorded):
        taken.hold(attempt, facts.of_attempt(attempt.failed) if attempt.failed else facts.error_of(recorded))
        if attempt.failed and taken.broken:
            if begun.tolerated:
                again.leaves_another_state(begun.plan, begun.where)
            break  # a limit that is broken is an answer: no attempt follows
    else:
        taken.check_retried()
    taken.save()
    return conclude(again, begun, taken)


def _attempts(recorded: Execution) -> list[Attempt]:
    """All of them: the last one may have given no reading."""
    told = recorded.attempts
    if told and told[-1].failed is None:
        return told
    return [*told, Attempt(recorded.ended.attempts if recorded.ended else 1)]


@dataclass
class Taken:
    """What is on record of one execution, with its limits held again. `plan` is without the limits that conditions leave
    out."""

    again: Again
    plan: StepPlan
    recorded: Execution
    evidence: Mapping[str, object] = field(default_factory=dict)
    held: Sequence[Held] = ()
    error: BenchrigError | None = None
    attempts: int = 0
    # why nobody can say how it would have ended
    unknown: str = ""
    _model: tuple[Step | None, str] | None = None

    @property
    def model(self) -> tuple[Step | None, str]:
        """The step with its values in place; else what is known of it, and why that is not all."""
        if self._model is None:
            self._model = self._read_model()
        return self._model

    def _read_model(self) -> tuple[Step | None, str]:
        if self.plan.step is not None:
            return self.plan.step, ""
        missing = {name for name, _ in self.plan.references} - self.plan.late - self.again.values.keys()
        try:
            if not missing:
                return filled(self.plan, self.again.values), ""
        except UnfitValue as error:
            return self.plan.outline, f"the value does not fit: {error.message}"
        return partly_filled(self.plan, self.again.values), f"the record does not have the value '{min(missing)}'"

    def limits(self, *, broken_off: bool) -> LimitsAgain:
        step, why = self.model
        written: Mapping[str, Any] = step.limits if step is not None else {}
        limits = {name: limit for name, limit in written.items() if not is_late(limit)}
        closed = {name: why for name in self.plan.limit_names if name not in limits}
        unjudged = frozenset(each.name for each in self.recorded.not_judged)
        judge = Judge(limits, self._types(step) if limits else None, self.plan.limit_place)
        written_alike = self.again.matched.same.get(self.plan.id, frozenset())
        return LimitsAgain(judge, unjudged, closed, self.evidence, self.again.same, broken_off, written_alike)

    def _types(self, step: Step | None) -> Any:
        try:
            return None if step is None or (step.is_open and self.plan.step is None) else readings_of(self.plan, step)
        except Misfit:
            return None

    def hold(self, attempt: Attempt, error: BenchrigError | None) -> None:
        self.error, self.attempts = error, attempt.number
        self.held = self.limits(broken_off=error is not None).hold(attempt.readings)

    @property
    def broken(self) -> list[str]:
        return broken(self.held)

    def check_retried(self) -> None:
        """A broken limit kept the run from another attempt; where none is broken any more, that was not taken."""
        was_broken = any(each.before is not None and not each.before.passed for each in self.held)
        step, error = self.model[0], self.error
        may_pass = error is not None and error.cause in _RETRIED and self.attempts < (step.attempts if step else 1)
        if may_pass and was_broken and not self.broken:
            self.unknown = "the limit that kept the run from another attempt holds now"

    def save(self) -> None:
        """What later steps refer to."""
        step = self.model[0]
        saves = step.save if step is not None and isinstance(step.save, dict) else {}
        readings = {each.name: each for each in self.recorded.readings if not each.partial}
        types = self._types(step) if saves else None
        for name, variable in saves.items():
            reading = readings.get(name)
            if reading is not None and reading.value is not None and "****" not in str(reading.value):
                declared = types.get(name) if types else None
                self.again.values[variable] = _saved(reading, declared)

    def unjudged(self, left_out: Mapping[str, str]) -> tuple[list[NotJudged], list[str]]:
        """The limits that nothing was held against; and those of which nobody can say that."""
        known = {each.name: each for each in self.recorded.not_judged}
        done = judged(self.held) | {each.reading.name for each in self.held if each.unknown}
        names = [name for name in self.plan.limit_names if name not in done]
        truncated = self.attempts and self.recorded.attempts and self.attempts < self.recorded.attempts[-1].number
        where, at = self.recorded.where, self.recorded.ended.at if self.recorded.ended else 0.0
        if truncated and self.error is not None:
            return [NotJudged(where, at, name, self.error.message) for name in names], []
        events = [known[name] for name in names if name in known]
        for name, why in left_out.items():
            if name not in self.plan.limit_names:
                events.append(known.get(name) or NotJudged(where, at, name, why, allowed=True))
        return events, [name for name in names if name not in known]


def _saved(reading: Reading, declared: ReadingType | None) -> Any:
    return saved_value(reading) if declared is None else saved_value(reading, declared.kind, loose=declared.loose)


def conclude(again: Again, begun: Begun, taken: Taken) -> Closed | None:
    """The end of an execution by what is known of it."""
    plan, where = begun.plan, begun.where
    if not again.same.all and facts.is_of_the_plan(taken.error):
        taken.unknown = taken.unknown or OF_THE_PLAN
    events, missing = taken.unjudged(begun.left_out)
    unknown = [Unknown(where, plan.called, each.reading.name, each.unknown) for each in taken.held if each.unknown]
    unknown += [Unknown(where, plan.called, name, _NOT_TAKEN) for name in missing]
    open_limits = len(unknown)
    unknown += [Unknown(where, plan.called, "", taken.unknown)] if taken.unknown else []
    again.unknown += unknown
    if taken.unknown:
        again.drifts(plan)
    event = _event(where, taken, events)
    sure = not unknown or (not taken.unknown and (taken.broken or (taken.error is not None)))
    done = Done(plan, where, taken.recorded, event if sure else None, taken.held, events)
    ended = Ended(
        event,
        taken.error,
        len(judged(taken.held)),
        events,
        taken.error is None and not taken.broken,
        facts.is_plan_time(taken.error),
    )
    return again.ended(done, ended if sure else None, open_limits, tolerated=begun.tolerated)


def _event(where: Where, taken: Taken, events: Sequence[NotJudged]) -> Closed:
    before = taken.recorded.ended
    assert before is not None
    came = concluded(taken.error, taken.broken, events)
    attempts = taken.attempts if taken.attempts and taken.attempts < before.attempts else before.attempts
    event = closing(where, before.at, before.elapsed, attempts, taken.error, came)
    same = event.cause == before.cause and event.message == before.message
    root = None if event.root is None else taken.again.matched.where(event.root) or event.root
    return replace(event, traceback=before.traceback if same else "", root=root)
