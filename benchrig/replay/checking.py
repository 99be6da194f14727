"""Whether a plan fails on the twin as it failed on the unit: in the same step, for the same cause, by the same reading."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from benchrig.errors import OperatorError
from benchrig.escapes.trial import trial
from benchrig.faults.fault import Scene
from benchrig.plan.model import Plan
from benchrig.radio.virtual.device_spec import Simulated
from benchrig.record.events import Where
from benchrig.record.model import Execution, Record

_NUMBERS = re.compile(r"0x[0-9A-F]+|[0-9][0-9.]*")
# What else was on the air in the run is no part of the unit.
_AROUND = re.compile(r" \((?:others were: |nothing else was).*\)")


@dataclass(frozen=True)
class Failure:
    """What decided a run. `readings` are those that broke a limit in that step, as they are told."""

    verdict: str
    cause: str = ""
    step: str = ""
    name: str = ""
    message: str = ""
    readings: tuple[tuple[str, str], ...] = ()

    @property
    def text(self) -> str:
        if not self.step and not self.cause:
            return self.verdict.upper()
        where = f"step {self.step} ({self.name})" if self.step else "outside any step"
        return f"{self.verdict.upper()} in {where}, cause {self.cause}: {self.message}"


@dataclass(frozen=True)
class Compared:
    """`differences` are what makes it another failure; `values` what was measured otherwise."""

    unit: Failure
    twin: Failure
    differences: tuple[str, ...]
    values: tuple[str, ...]

    @property
    def alike(self) -> bool:
        return not self.differences


def failure_of(record: Record) -> Failure:
    """Of a run that was cut off: of the first step that did not pass."""
    ended = record.ended
    execution = _decisive(record)
    if ended is None and execution is None:
        return Failure("cut off")
    closed = execution.ended if execution else None
    verdict = ended.verdict if ended else closed.verdict if closed else "cut off"
    cause = (ended.cause if ended else closed.cause if closed else None) or ""
    message = (closed.message if closed else "") or (ended.message if ended else "")
    if execution is None:
        return Failure(verdict, cause, message=message)
    return Failure(verdict, cause, execution.where.label, execution.planned.name, message, _broken(execution))


def _decisive(record: Record) -> Execution | None:
    root: Where | None = record.ended.root if record.ended else None
    for each in record.executions:
        if each.where == root or (record.ended is None and each.ended and each.ended.counts_as in ("fail", "error")):
            return each
    return None


def _broken(execution: Execution) -> tuple[tuple[str, str], ...]:
    return tuple(
        (each.name, f"{each.value} {each.unit}".strip())
        for each in execution.readings
        if each.judgement is not None and not each.judgement.passed
    )


def compare(unit: Record, twin: Record) -> Compared:
    ours, theirs = failure_of(unit), failure_of(twin)
    differences = [
        f"{what}: {was or 'none'} on the unit, {now or 'none'} on the twin"
        for what, was, now in (
            ("verdict", ours.verdict, theirs.verdict),
            ("cause", ours.cause, theirs.cause),
            ("step", ours.step, theirs.step),
            ("broken limits", _names(ours), _names(theirs)),
        )
        if was != now
    ]
    if not differences and not ours.readings and _reason(ours) != _reason(theirs):
        differences.append(f"reason: {ours.message} on the unit, {theirs.message} on the twin")
    differences += _elsewhere(unit, twin, {ours.step, theirs.step})
    now = dict(theirs.readings)
    values = [
        f"{name}: {was} on the unit, {now[name]} on the twin"
        for name, was in ours.readings
        if now.get(name, was) != was
    ]
    return Compared(ours, theirs, tuple(differences), tuple(values))


def _reason(failure: Failure) -> str:
    """Without what is measured anew in each run, and without what was being done."""
    return _NUMBERS.sub("#", _AROUND.sub("", failure.message).rpartition(": ")[2])


def _elsewhere(unit: Record, twin: Record, decisive: set[str]) -> Iterator[str]:
    """Steps besides those that decided which fail on one of both alone, or for another cause."""
    ours, theirs = _failed(unit), _failed(twin)
    for label in dict.fromkeys((*ours, *theirs)):
        was, now = ours.get(label, "no failure"), theirs.get(label, "no failure")
        if label not in decisive and was != now:
            yield f"step {label}: {was} on the unit, {now} on the twin"


def _failed(record: Record) -> dict[str, str]:
    """By the label of the step; one with steps in it shows in them."""
    failed = [each for each in record.executions if not each.children and each.ended and each.ended.cause]
    return {each.where.label: f"cause {each.ended.cause}" for each in failed if each.ended}


def _names(failure: Failure) -> str:
    return ", ".join(name for name, _ in failure.readings)


def check(record: Record, plan: Plan, devices: Sequence[Simulated], *, air: str | None = None) -> Compared:
    """Run the plan on the twin, with the steps, the seed and the answers of the run."""
    ids = {node.id for node in record.run.nodes}
    nodes = [node for node in plan.nodes if node.id in ids]
    scene = Scene(tuple(devices), air=air)
    return compare(record, trial(plan, scene, AsInTheRun(record), seed=record.run.seed or 0, nodes=nodes))


class AsInTheRun:
    """An operator who gives the answers that a person gave in the run, in their order."""

    def __init__(self, record: Record) -> None:
        self._answers = [
            each.value for step in record.executions for each in step.readings if _is_answer(step, each.name)
        ]

    async def acknowledge(self, caution: str) -> str:
        return "as in the run"

    async def confirm(self, question: str) -> bool:
        return bool(self._next(question))

    async def enter(self, question: str, problem_with: Callable[[str], str] = lambda text: "") -> str:
        return str(self._next(question))

    async def choose(self, question: str, options: list[str]) -> str:
        return str(self._next(question))

    async def tell(self, text: str) -> None:
        """Nothing that it shows is needed here."""

    def _next(self, question: str) -> Any:
        if not self._answers:
            raise OperatorError(f"the record has no answer to '{question}'")
        return self._answers.pop(0)


def _is_answer(step: Execution, name: str) -> bool:
    return step.planned.kind == "ask" and name == "answer"
