"""What a run on simulated devices left."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchrig.plan.model import Plan
from benchrig.record.events import AnyEvent, Reading, RunEnded
from benchrig.record.model import Execution, Record


@dataclass
class Ran:
    """A run that is over.

    plan        the plan, with its values
    events      all that happened, in order, as in record.jsonl
    record      what the events add up to
    tasks_left  how many tasks were still alive when the run was over: 0, unless a step or a function left some
    stray       errors that were raised where nobody waited for them
    """

    plan: Plan = field(repr=False)
    events: list[AnyEvent]
    record: Record
    tasks_left: int
    stray: list[str]

    @property
    def ended(self) -> RunEnded:
        """Verdict, cause, message and exit code of the run."""
        assert self.record.ended is not None
        return self.record.ended

    def step(self, name: str | int) -> Execution:
        """A step by its name or its number; in rounds the first one. UsageError with the names where there is none."""
        return self.record.step(name)

    def reading(self, step: str | int, name: str = "value") -> Reading:
        """A reading of a step. UsageError with the names where there is none."""
        return self.record.reading(step, name)

    def verdicts(self) -> list[str]:
        """Of the steps without steps in them, in order; 'none' for one that did not end."""
        return [step.ended.verdict if step.ended else "none" for step in self.record.steps]
