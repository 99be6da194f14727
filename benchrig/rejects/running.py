"""All units over all cores, each in a run of its own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import closing
from dataclasses import dataclass, field

from benchrig import signals
from benchrig.errors import OperatorError
from benchrig.escapes.outcome import came_to
from benchrig.escapes.trial import trial
from benchrig.plan.model import Plan
from benchrig.rejects.results import UnitRun
from benchrig.rejects.seen import limits_seen, times_of
from benchrig.rejects.units import Units
from benchrig.steps.bench import Operator
from benchrig.workers import Lost, cores, done


@dataclass(frozen=True)
class Testing:
    """`plan_for` gives the plan for a unit with these labels."""

    units: Units
    plan_for: Callable[[Mapping[str, str]], Plan]
    operator: Operator
    jobs: int = field(default_factory=cores)

    def run(self, number: int) -> UnitRun:
        """One unit; the same number gives the same run."""
        unit, seed = self.units.unit(number), self.units.run_seed(number)
        record = trial(self.plan_for(unit.labels), self.units.scene(unit), self.operator, seed=seed)
        return UnitRun(number, seed, came_to(record, seed), limits_seen(record), times_of(record))


@dataclass
class Tested:
    """What there is: all, or what was done when somebody interrupted it."""

    runs: list[UnitRun] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    interrupted: bool = False


def tested(testing: Testing, first: int, count: int, told: Callable[[UnitRun], object]) -> Tested:
    """Units from this number on. Ctrl-C ends it with what there is."""
    made = Tested()
    try:
        with closing(done(lambda index: testing.run(first + index), count, testing.jobs)) as answers:
            for index, answer in answers:
                _take(made, first + index, answer, told)
    except KeyboardInterrupt:
        signals.hold()
        made.interrupted = True
    made.runs.sort(key=lambda each: each.number)
    return made


def _take(made: Tested, number: int, answer: UnitRun | Lost, told: Callable[[UnitRun], object]) -> None:
    if isinstance(answer, Lost):
        made.failed.append(f"unit {number}: {answer.reason}")
        return
    by = answer.came.by
    if by is not None and by.cause == "operator":
        raise OperatorError(f"the run of unit {number} needs an answer: {by.message}",
                            advice="name a value with 'given:', and give it with --set")  # fmt: skip
    if by is not None and by.cause == "internal":
        made.failed.append(f"unit {number}: {by.message}")
        return
    made.runs.append(answer)
    told(answer)
